"""One's own tokens, and the document that describes the API."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_GET, require_POST

from evenfield.clinic.access import holds_secrets, open_to_all, requires
from evenfield.clinic.accounts.middleware import StaffRequest
from evenfield.clinic.accounts.models import Account
from evenfield.clinic.api.endpoints import PREFIX, api
from evenfield.clinic.api.models import ApiToken
from evenfield.clinic.api.tokens import end_token, make_token

PERMISSIONS = {
    "people.view": "find and read people",
    "people.change": "add people",
    "measuring.view": "read measurements",
    "measuring.measure": "add measurements",
    "courses.view": "read courses and visits",
    "courses.change": "plan courses and visits",
    "visits.view": "see whether a visit is running, and its zones",
    "visits.enter": "enter skin readings into a running visit",
    "exchange.send": "fetch a person or a visit as FHIR",
}
_DAYS = [(30, "30 days"), (90, "90 days"), (365, "a year")]


class TokenForm(forms.Form):
    """What a new token is for, what it may do, and how long."""

    name = forms.CharField(
        label="What it is for", max_length=80, widget=forms.TextInput(attrs={"autocomplete": "off"})
    )
    permissions = forms.MultipleChoiceField(label="It may", widget=forms.CheckboxSelectMultiple)
    days = forms.TypedChoiceField(label="It works for", choices=_DAYS, coerce=int, initial=90)
    password = forms.CharField(
        label="Your password",
        strip=False,
        max_length=1000,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )

    def __init__(self, *args: Any, account: Account, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.account = account
        field = self.fields["permissions"]
        assert isinstance(field, forms.MultipleChoiceField)
        field.choices = [(name, words) for name, words in PERMISSIONS.items() if account.has_perm(name)]

    def clean_password(self) -> str:
        """The account's own, so that an open screen is not enough to make a token."""
        password = str(self.cleaned_data["password"])
        if not self.account.check_password(password):
            raise forms.ValidationError("This is not your password.")
        return password


@requires("api.token")
@holds_secrets
def tokens(request: StaffRequest) -> HttpResponse:
    """One's own tokens, and a new one, whose secret is shown this once."""
    form = TokenForm(request.POST or None, account=request.user)
    secret = ""
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        secret = make_token(request.user, given["name"], given["permissions"], given["days"])
        form = TokenForm(account=request.user)
    context = {"form": form, "secret": secret, "tokens": _shown(account=request.user)}
    return render(request, "api/tokens.html", context)


@requires("api.oversee")
def all_tokens(request: StaffRequest) -> HttpResponse:
    """The tokens of everyone, for the owner."""
    return render(request, "api/tokens.html", {"tokens": _shown()})


def _shown(**whose: Account) -> list[tuple[ApiToken, list[str]]]:
    """Tokens that work, with what each may do in words."""
    held = ApiToken.objects.filter(ended__isnull=True, expires__gt=timezone.now(), **whose)
    return [
        (token, [PERMISSIONS.get(name, name) for name in sorted(token.permissions)])
        for token in held.select_related("account", "use")
    ]


@requires("api.token")
@require_POST
def end(request: StaffRequest, number: int) -> HttpResponse:
    """End one of one's own tokens; an owner ends anyone's."""
    token = get_object_or_404(ApiToken, pk=number)
    if token.account_id != request.user.pk and not request.user.has_perm("api.oversee"):
        raise Http404
    end_token(token)
    messages.success(request, "That token works no longer.")
    return redirect("api-tokens")


@open_to_all
@require_GET
def document(request: HttpRequest) -> HttpResponse:
    """The OpenAPI document; it says nothing about anyone."""
    return JsonResponse(api.get_openapi_schema(path_prefix=PREFIX))


@csrf_exempt
@open_to_all
def nothing(request: HttpRequest, rest: str) -> HttpResponse:
    """Any other address under this prefix: programs are told in JSON."""
    return JsonResponse({"detail": "There is nothing here.", "problems": []}, status=404)
