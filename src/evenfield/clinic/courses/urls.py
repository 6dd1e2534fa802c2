"""Addresses of courses, visits and the calendar."""

from django.urls import path

from evenfield.clinic.courses import views, views_calendar

urlpatterns = [
    path("calendar/", views_calendar.calendar, name="calendar"),
    path("calendar/file/", views_calendar.calendar_download, name="calendar-download"),
    path("calendar/own/", views_calendar.own_calendar, name="own-calendar"),
    path("calendar/own/end/", views_calendar.end_calendar, name="end-calendar"),
    path("calendar/feed/<str:token>.ics", views_calendar.calendar_feed, name="calendar-feed"),
    path("open/", views.open_courses_page, name="open-courses"),
    path("rules/", views.booking_rules, name="booking-rules"),
    path("course/<int:number>/change/", views.change_course, name="change-course"),
    path("course/<int:number>/state/", views.course_state, name="course-state"),
    path("course/<int:number>/visit/", views.add_visit, name="add-visit"),
    path("visit/<int:number>/", views.visit, name="visit"),
    path("visit/<int:number>/move/", views.move, name="move-visit"),
    path("visit/<int:number>/cancel/", views.cancel, name="cancel-visit"),
    path("visit/<int:number>/missed/", views.missed, name="miss-visit"),
    path("<str:code>/all/", views.person_courses, name="person-courses"),
    path("<str:code>/add/", views.add_course, name="add-course"),
]
