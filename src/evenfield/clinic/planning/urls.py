"""Addresses of planning."""

from django.urls import path

from evenfield.clinic.planning import views, views_form, views_jobs, views_what_if

urlpatterns = [
    path("visit/<int:number>/", views_form.plan_visit, name="plan-visit"),
    path("person/<str:code>/", views_form.plan_person, name="plan-person"),
    path("person/<str:code>/region/", views_form.plan_region, name="plan-region"),
    path("plan/<int:number>/", views.plan_page, name="plan"),
    path("plan/<int:number>/change/", views_form.change_plan, name="change-plan"),
    path("plan/<int:number>/save/", views.save_plan, name="save-plan"),
    path("plan/<int:number>/file/", views.plan_file, name="plan-file"),
    path("plan/<int:number>/space/", views.in_space, name="plan-in-space"),
    path("plan/<int:number>/what-if/", views_what_if.what_if, name="what-if"),
    path("plan/<int:number>/what-if/full/", views_what_if.full, name="what-if-full"),
    path("plan/<int:number>/what-if/take/", views_what_if.take, name="take-what-if"),
    path("plan/<int:number>/placing/", views.placing, name="plan-placing"),
    path("plan/<int:number>/sureness/", views.sureness, name="plan-sureness"),
    path("plan/<int:number>/advice/", views.advice, name="plan-advice"),
    path("plan/<int:number>/start/", views_jobs.start, name="start-job"),
    path("job/<int:number>/", views_jobs.look, name="job"),
    path("job/<int:number>/cancel/", views_jobs.cancel, name="cancel-job"),
    path("drawing-library/", views.drawing_library, name="drawing-library"),
]
