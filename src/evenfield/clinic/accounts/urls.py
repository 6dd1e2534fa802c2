"""Addresses about accounts."""

from django.urls import path

from evenfield.clinic.accounts import views_entry, views_own, views_staff

urlpatterns = [
    path("sign-in/", views_entry.sign_in, name="sign-in"),
    path("sign-out/", views_entry.sign_out, name="sign-out"),
    path("first-run/", views_entry.first_run, name="first-run"),
    path("set-password/", views_entry.set_password, name="set-password"),
    path("locked/", views_entry.locked, name="locked"),
    path("locked/now/", views_entry.lock_now, name="lock-now"),
    path("locked/resume/", views_entry.resume, name="resume"),
    path("touch/", views_entry.touch, name="touch"),
    path("account/", views_own.own, name="own"),
    path("account/password/", views_own.change_password, name="change-password"),
    path("account/pin/", views_own.change_pin, name="change-pin"),
    path("account/codes/", views_own.start_codes, name="start-codes"),
    path("account/codes/stop/", views_own.stop_codes, name="stop-codes"),
    path("account/devices/<int:number>/end/", views_own.end_device, name="end-device"),
    path("staff/", views_staff.staff, name="staff"),
    path("staff/add/", views_staff.add_staff, name="add-staff"),
    path("staff/<int:number>/", views_staff.change_staff, name="change-staff"),
    path("staff/<int:number>/code/", views_staff.new_code, name="new-code"),
]
