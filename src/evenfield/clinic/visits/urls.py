"""Addresses of running visits."""

from django.urls import path

from evenfield.clinic.visits import views, views_closing, views_live, views_practice, views_readings

urlpatterns = [
    path("", views.running_visits, name="running-visits"),
    path("now/", views.running_now, name="running-now"),
    path("next-steps/", views_closing.next_steps, name="next-steps"),
    path("practice/", views_practice.practice_profile, name="practice-profile"),
    path("<int:number>/", views_live.live_visit, name="live-visit"),
    path("<int:number>/begin/", views_live.begin_visit, name="begin-visit"),
    path("<int:number>/take-back/", views_closing.take_back_visit, name="take-back-visit"),
    path("<int:number>/entries/", views_live.visit_entries, name="visit-entries"),
    path("<int:number>/now/", views_live.visit_now, name="visit-now"),
    path("<int:number>/readings/", views_readings.readings_file, name="readings-file"),
    path("<int:number>/unwanted/", views_closing.unwanted_event, name="unwanted-event"),
    path("<int:number>/unwanted/reported/", views_closing.event_reported, name="event-reported"),
    path("<int:number>/close/", views_closing.close_visit, name="close-visit"),
    path("<int:number>/report/", views_closing.visit_report, name="visit-report"),
    path("<int:number>/picture.svg", views_closing.visit_picture, name="visit-picture"),
    path("<int:number>/report.pdf", views_closing.visit_report_pdf, name="visit-report-pdf"),
]
