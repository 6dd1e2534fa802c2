"""What tests in a real browser share: signing in, and what is wrong with a page."""

from typing import Any

from axe_playwright_python.sync_playwright import Axe  # type: ignore[import-untyped]
from playwright.sync_api import ConsoleMessage, Page, expect

from evenfield.clinic.accounts.demonstration import PASSWORD

SIZES = {"desk": (1280, 800), "tablet": (1024, 768), "phone": (390, 844), "narrow": (320, 700)}


# Smaller than 48 px is only what stands inside a sentence (WCAG 2.5.8, "inline") or is hidden until focused.
SMALL_TARGETS = """() => [...document.querySelectorAll('a, button, input, select, textarea, summary')]
  .filter(e => e.checkVisibility() && e.type !== 'hidden' && !e.closest('p') && !e.matches('.skip'))
  .filter(e => !(['checkbox', 'radio'].includes(e.type) && e.closest('label, .single').offsetHeight >= 48))
  .filter(e => e.offsetHeight < 48).map(e => e.outerHTML.slice(0, 120))"""


SMALL_TYPE = """() => [...document.querySelectorAll('body *')]
  .filter(e => e.checkVisibility() && [...e.childNodes].some(n => n.nodeType === 3 && n.data.trim()))
  .filter(e => parseFloat(getComputedStyle(e).fontSize) < 18).map(e => e.outerHTML.slice(0, 120))"""


def sign_in(page: Page, address: str, username: str = "owner") -> None:
    """Through the page, as a person would."""
    page.goto(f"{address}sign-in/")
    page.get_by_label("User name").fill(username)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Hello")


def serious(page: Page) -> list[str]:
    """What axe finds that is serious or critical."""
    found: dict[str, Any] = Axe().run(page).response
    return [
        f"{page.url} {one['id']}: {one['nodes'][0]['html'][:120]}"
        for one in found["violations"]
        if one["impact"] in {"serious", "critical"}
    ]


def _matters(message: ConsoleMessage) -> bool:
    """Errors and warnings, also what the content policy refused; a missing page is not one."""
    drawing = ("GPU stall", "willReadFrequently")  # how fast drawing in space is without a graphics card
    ours = message.type in {"error", "warning"} and "404" not in message.text
    return ours and not any(words in message.text for words in drawing)


def there_is_none(address: str) -> bool:
    """Whether the page that says so is what is looked at."""
    return address.endswith("nothing-here/")


def faults(page: Page, address: str) -> list[str]:
    """Everything that is wrong with a page at all sizes."""
    noise: list[str] = []
    page.on("console", lambda message: noise.append(message.text) if _matters(message) else None)
    page.on("pageerror", lambda error: noise.append(str(error)))
    found: list[str] = []
    answer = page.goto(address)
    if not there_is_none(address) and (page.url != address or not answer or not answer.ok):
        found.append(f"{address} is not the page shown, but {page.url}, {answer and answer.status}")
    for size, (width, height) in SIZES.items():
        page.set_viewport_size({"width": width, "height": height})
        if page.evaluate("document.documentElement.scrollWidth") > width:
            found.append(f"{address} scrolls sideways at {size}")
        found += [f"{address} {size}: small target {one}" for one in page.evaluate(SMALL_TARGETS)]
        if size == "tablet":
            found += serious(page)
    found += [f"{address}: small type {one}" for one in page.evaluate(SMALL_TYPE)]
    return found + [f"{address}: {one}" for one in noise]
