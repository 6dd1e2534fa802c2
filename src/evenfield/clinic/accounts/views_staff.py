"""Staff, as the owner sees and changes it."""

from django.contrib import messages
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from evenfield.clinic.access import Role, holds_secrets, requires
from evenfield.clinic.accounts import codes, signing_in
from evenfield.clinic.accounts.forms import MakeCodeForm, StaffForm
from evenfield.clinic.accounts.middleware import StaffRequest
from evenfield.clinic.accounts.models import Account


@requires("accounts.manage")
def staff(request: StaffRequest) -> HttpResponse:
    """Everyone with an account."""
    return render(
        request, "accounts/staff.html", {"accounts": Account.objects.order_by("-is_active", "name")}
    )


@requires("accounts.manage")
@holds_secrets
def add_staff(request: StaffRequest) -> HttpResponse:
    """A new account; its holder sets the password with a code shown once."""
    form = StaffForm(request.POST or None, by=request.user)
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        account = Account(name=given["name"], username=given["username"])
        account.roles = frozenset(Role(word) for word in given["roles"])
        account.set_unusable_password()
        with transaction.atomic():
            account.save()
            code = codes.issue(account)
        return render(request, "accounts/code.html", {"member": account, "code": code})
    return render(
        request, "accounts/form.html", {"form": form, "title": "Add someone to the staff", "back": "staff"}
    )


@requires("accounts.manage")
@holds_secrets
def change_staff(request: StaffRequest, number: int) -> HttpResponse:
    """Name, roles, and whether the account may sign in."""
    account = get_object_or_404(Account, pk=number)
    initial = {"name": account.name, "roles": sorted(account.roles), "is_active": account.is_active}
    form = StaffForm(request.POST or None, by=request.user, account=account, initial=initial)
    if request.method == "POST" and form.is_valid():
        account.name, account.is_active = form.cleaned_data["name"], form.cleaned_data["is_active"]
        account.roles = frozenset(Role(word) for word in form.cleaned_data["roles"])
        with transaction.atomic():
            account.save()
            if not account.is_active:
                signing_in.end_devices(account)
        messages.success(request, "Saved.")
        return redirect("staff")
    context = {"form": form, "member": account, "code_form": MakeCodeForm(by=request.user, auto_id="code_%s")}
    return render(request, "accounts/change_staff.html", context)


@requires("accounts.manage")
@holds_secrets
@require_POST
def new_code(request: StaffRequest, number: int) -> HttpResponse:
    """A code for someone who has lost their password."""
    account = get_object_or_404(Account, pk=number, is_active=True)
    form = MakeCodeForm(request.POST, by=request.user)
    if not form.is_valid():
        title = f"A code for {account.name}"
        return render(request, "accounts/form.html", {"form": form, "title": title, "back": "staff"})
    return render(request, "accounts/code.html", {"member": account, "code": codes.issue(account)})
