"""The page in a real browser: with fingers and with the keyboard alone, on a phone, without scripts, on two devices."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from typing import Any

import pytest
from web.ward import FOLDER, free_port, serving

from dosecheck.web.settings import Settings

PHONE, NARROW, DESK = {"width": 390, "height": 844}, {"width": 320, "height": 640}, {"width": 1280, "height": 900}
PAGES = ("/", "/second-check", "/second-check/first", "/chart", "/sums", "/sums/drops", "/sheet", "/formulary", "/practice", "/docs")


@pytest.fixture
def opened(chromium: Any, address: str) -> Iterator[Any]:
    """Opens pages; every message of the console, every fault of the script and every request to another host is a failure."""
    contexts, odd = [], []

    def make(size: dict[str, int] = PHONE, **more: Any) -> Any:
        context = chromium.new_context(viewport=size, base_url=address, **more)
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda message: odd.append(f"console: {message.text}"))
        page.on("pageerror", lambda error: odd.append(f"script: {error}"))
        page.on("request", lambda request: odd.append(request.url) if not request.url.startswith(address) else None)
        return page

    yield make
    for context in contexts:
        context.close()
    assert [
        line for line in odd if "422" not in line and "ERR_FAILED" not in line
    ] == []  # refused forms, and a server that a test takes away


def fill(page: Any, dose: str = "210") -> None:
    """An order of paracetamol for a child of 14.2 kg, one tap after the other."""
    page.fill("#weight", "14.2")
    page.check("#weight-unit-1")
    page.fill("#age", "3")
    page.check("#age-unit-1")
    page.fill("#medicine", "paracetamol")
    page.locator("#medicine").blur()
    page.wait_for_selector("#route")
    page.check("input[name=route][value=oral]")
    page.check("input[name=for][value=pain]")
    page.fill("#dose", dose)
    page.check("#dose-unit-1")
    page.check("#every-4")


def outcome(page: Any) -> str:
    page.wait_for_selector("#answer #outcome")
    return page.inner_text("#outcome")


@pytest.mark.parametrize(("dose", "word"), [("210", "WITHIN"), ("320", "STOP"), ("180", "QUERY")])
def test_an_order_on_a_phone(opened: Any, dose: str, word: str) -> None:
    """From opening the page to a checked order; the outcome comes in words, its reason below it, without pressing anything more."""
    page = opened()
    page.goto("/")
    begun = time.monotonic()
    fill(page, dose)
    assert outcome(page) == word and time.monotonic() - begun < 10
    assert page.locator("#answer .reason").inner_text() and page.locator("#answer svg.picture").count() == 1


def test_any_keystroke_blanks_the_answer_at_once(opened: Any) -> None:
    """H31: no answer ever stands beside a form that says something else."""
    page = opened()
    page.goto("/")
    fill(page)
    assert outcome(page) == "WITHIN"
    page.locator("#dose").press("End")
    page.locator("#dose").press("0")
    assert page.locator("#answer").inner_html() == ""
    page.locator("#dose").blur()
    assert outcome(page) == "STOP"
    page.fill("#weight", "")
    assert page.locator("#answer").inner_html() == ""
    page.locator("#weight").blur()
    page.wait_for_selector("#answer .waiting")
    assert page.locator("#outcome").count() == 0 and "weight" in page.inner_text("#answer")


def test_a_late_answer_is_thrown_away(opened: Any) -> None:
    """H23: the answer to what the form said before is never shown, however late it comes."""
    page = opened()
    page.goto("/")
    fill(page)
    outcome(page)

    def late(route: Any) -> None:
        time.sleep(0.4)
        route.continue_()

    page.route("**/order", late)
    page.fill("#dose", "320")
    page.locator("#dose").blur()
    page.fill("#dose", "999")
    page.wait_for_timeout(1200)
    assert page.locator("#answer").inner_html() == ""


def test_with_the_keyboard_alone(opened: Any) -> None:
    """Every part of the order is reached by Tab, pressed by the space bar and arrows, and checked by Enter."""
    page = opened(DESK)
    page.goto("/")

    def to(name: str, value: str = "") -> None:
        for _ in range(60):
            page.keyboard.press("Tab")
            told = page.evaluate("[document.activeElement.name, document.activeElement.value, document.activeElement.id]")
            if told[0] == name and (not value or told[1] == value or told[2] == value):
                return
        raise AssertionError(name)

    to("weight")
    page.keyboard.type("14.2")
    to("weight_unit")
    page.keyboard.press("Space")
    to("age")
    page.keyboard.type("3")
    to("age_unit")
    page.keyboard.press("Space")
    to("medicine")
    page.keyboard.type("paracetamol")
    page.keyboard.press("Tab")
    page.wait_for_selector("#route")
    page.locator("#medicine").focus()
    to("route")
    page.keyboard.press("Space")
    page.keyboard.press("ArrowRight")
    assert page.locator("input[name=route][value=oral]").is_checked()
    to("for")
    page.locator("input[name=for][value=pain]").focus()
    page.keyboard.press("Space")
    to("dose")
    page.keyboard.type("210")
    to("dose_unit")
    page.keyboard.press("Space")
    to("every")
    page.keyboard.press("Space")
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    to("pressed", "check")
    page.keyboard.press("Enter")
    assert outcome(page) == "WITHIN" and page.locator("#every-4").is_checked()


def test_focus_is_always_seen(opened: Any) -> None:
    page = opened(DESK)
    page.goto("/")
    for _ in range(12):
        page.keyboard.press("Tab")
        seen = page.evaluate(
            "(() => { const e = document.activeElement; const f = e.type === 'radio' ? e.nextElementSibling : e; return getComputedStyle(f).outlineStyle })()"
        )
        assert seen != "none"


def test_without_scripts(opened: Any) -> None:
    """The plain form: the medicine first, then the rest, then an answer on a page of its own, and back to the filled form."""
    page = opened(java_script_enabled=False)
    page.goto("/")
    page.fill("#weight", "14.2")
    page.check("#weight-unit-1")
    page.fill("#age", "3")
    page.check("#age-unit-1")
    page.fill("#medicine", "paracetamol")
    page.click("text=Show its routes and products")
    page.check("input[name=route][value=oral]")
    page.check("input[name=for][value=pain]")
    page.fill("#dose", "320")
    page.check("#dose-unit-1")
    page.check("#every-4")
    page.click("button[value=check]")
    assert page.inner_text("#outcome") == "STOP" and page.locator("#order").count() == 0
    page.click("text=Change this order")
    assert page.input_value("#dose") == "320" and page.locator("#dose-unit-1").is_checked() and page.locator("#outcome").count() == 0
    page.click("text=Next child")
    assert page.input_value("#dose") == "" and page.input_value("#weight") == ""


def test_bad_fields_are_told_where_they_are(opened: Any) -> None:
    page = opened()
    page.goto("/")
    fill(page, "2,1")
    page.wait_for_selector("#answer .not-read")
    assert "comma" in page.inner_text("#answer") and page.locator("#outcome").count() == 0


def test_h31_next_child_and_back(opened: Any) -> None:
    """H31: "Next child" clears everything, and the browser's own way back brings no child back."""
    page = opened()
    page.goto("/")
    fill(page)
    outcome(page)
    page.click("text=Next child")
    page.wait_for_load_state()
    assert page.input_value("#weight") == "" and page.locator("#answer").inner_html() == ""
    assert page.locator("input:checked:not([value=''])").count() == 0
    page.go_back()
    page.wait_for_load_state()
    assert page.locator("#outcome").count() == 0


def test_h31_an_unused_page_clears_itself(opened: Any, chromium: Any) -> None:
    """H31: after the policy's minutes without a touch; a touch begins them anew."""
    page = opened()
    page.clock.install()
    page.goto("/")
    page.fill("#weight", "14.2")
    page.clock.fast_forward(290_000)
    page.keyboard.press("Shift")
    page.clock.fast_forward(290_000)
    assert page.input_value("#weight") == "14.2"
    with page.expect_navigation():
        page.clock.fast_forward(20_000)
    assert page.input_value("#weight") == ""


def test_the_server_gone_is_no_all_clear(opened: Any) -> None:
    """The page that cannot reach dosecheck says "not checked", and keeps no older answer."""
    page = opened()
    page.goto("/")
    fill(page)
    outcome(page)
    page.route("**/order", lambda route: route.abort())
    page.fill("#dose", "320")
    page.locator("#dose").blur()
    page.wait_for_selector("#answer .not-checked")
    assert "NOT CHECKED" in page.inner_text("#answer")
    page.unroute("**/order")


def second(page: Any, weight: str, answer: str, initials: str) -> None:
    page.fill("#weight", weight)
    page.check("#weight-unit-1")
    page.fill("#age", "3")
    page.check("#age-unit-1")
    page.fill("#strength", "120 mg in 5 mL")
    page.fill("#answer", answer)
    page.fill("#initials", initials)
    page.click("button:has-text('Commit')")


def begun(page: Any) -> str:
    """The first person's part; the code."""
    page.goto("/second-check")
    page.click("text=Begin")
    page.fill("#medicine", "paracetamol")
    page.locator("#medicine").blur()
    page.wait_for_selector("#route")
    page.check("input[name=route][value=oral]")
    page.check("input[name=for][value=pain]")
    assert page.locator("#product").count() == 0, "each reads the strength from the label in hand"
    page.fill("#dose", "213")
    page.check("#dose-unit-1")
    page.check("#every-4")
    second(page, "14.2", "8.9 mL", "AB")
    page.wait_for_selector(".code")
    return page.inner_text(".code")


def test_a_second_check_on_two_devices(opened: Any) -> None:
    """The code goes from one device to the other; the first device sees the comparison by itself."""
    one, other = opened(DESK), opened(PHONE)
    code = begun(one)
    other.goto("/second-check")
    other.fill("#code", code)
    other.click("text=Go on with this code")
    assert "8.9" not in other.inner_text("main") and "213" in other.inner_text("main")
    second(other, "14.2", "8.8 mL", "CD")
    other.wait_for_selector(".alike, .parted")
    assert other.inner_text("#outcome") == "ALIKE"
    one.wait_for_selector("#outcome", timeout=8000)
    assert one.inner_text("#outcome") == "ALIKE"


def test_a_second_check_on_one_device_without_scripts(opened: Any) -> None:
    page = opened(java_script_enabled=False)
    page.goto("/second-check/first")
    page.fill("#medicine", "paracetamol")
    page.click("text=Show its routes")
    page.check("input[name=route][value=oral]")
    page.check("input[name=for][value=pain]")
    page.fill("#dose", "213")
    page.check("#dose-unit-1")
    page.check("#every-4")
    second(page, "14.2", "8.9 mL", "AB")
    page.click("text=Hand this device to the second person")
    second(page, "31.3", "8.9 mL", "CD")
    assert page.inner_text("#outcome") == "NOT ALIKE" and "pounds" in page.inner_text("main")


@pytest.mark.parametrize("size", [NARROW, {"width": 640, "height": 400}], ids=["320 px", "200 % of 1280"])
def test_nothing_is_cut_off_on_a_small_screen(opened: Any, size: dict[str, int]) -> None:
    """H32: no page scrolls sideways at 320 px, nor at 200 % zoom; no dose is parted from its unit."""
    page = opened(size)
    for path in PAGES:
        page.goto(path)
        assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth"), path
    page.goto("/")
    fill(page, "320")
    outcome(page)
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
    assert not re.search(r"\d (mg|kg|mL|micrograms)\b", page.inner_text("#answer .outcome").replace("\u00a0", "_"))


def test_gloved_fingers(opened: Any) -> None:
    """What is pressed is at least 44 px high and wide."""
    page = opened()
    page.goto("/")
    boxes = [each.bounding_box() for each in page.locator(".press, button, .button, select, .field > input").all() if each.is_visible()]
    assert len(boxes) > 15 and all(box["height"] >= 44 and box["width"] >= 44 for box in boxes)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_no_fault(opened: Any, scheme: str) -> None:
    """Accessibility: axe-core's rules on every page, with an answer, with faults, light and dark."""
    from axe_playwright_python.sync_playwright import Axe

    page = opened(color_scheme=scheme, bypass_csp=True)  # the tool puts its own script into the page

    def look(where: str) -> None:
        found = Axe().run(page)
        assert not found.violations_count, f"{where}: {found.generate_report()}"

    for path in (*PAGES, "/formulary/ibuprofen", "/practice/new/dose-by-weight/1"):
        page.goto(path)
        look(path)
    for dose in ("210", "320", "180", "2,1"):
        page.goto("/")
        fill(page, dose)
        page.wait_for_selector("#answer section")
        look(f"an order of {dose}")
    page.goto("/sums/drops")
    page.fill("#rate", "100 mL/h")
    page.fill("#set", "20 drops/mL")
    page.click("text=Reckon")
    look("a sum")


def test_axe_on_a_second_check(opened: Any) -> None:
    from axe_playwright_python.sync_playwright import Axe

    page = opened(bypass_csp=True)
    begun(page)
    assert not Axe().run(page).violations_count
    page.click("text=Hand this device to the second person")
    assert not Axe().run(page).violations_count
    second(page, "31.3", "8.9 mL", "CD")
    page.wait_for_selector("#outcome")
    found = Axe().run(page)
    assert not found.violations_count, found.generate_report()


def test_outcomes_differ_without_colour(opened: Any) -> None:
    """H32: each outcome has its word and its own frame; in grey they are as far apart as in colour, for there is none."""
    page = opened()
    seen = set()
    for dose in ("210", "180", "320"):
        page.goto("/")
        fill(page, dose)
        word = outcome(page)
        style = page.evaluate(
            "(() => { const s = getComputedStyle(document.querySelector('#answer .outcome')); return [s.borderStyle, s.backgroundColor].join() })()"
        )
        seen.add((word, style))
        colour = [int(part) for part in re.findall(r"\d+", style)][:3]
        assert max(colour) - min(colour) < 16
    assert len({style for _, style in seen}) == 3


def test_on_paper(opened: Any) -> None:
    """Printed, the answer stands alone: no form, no buttons."""
    page = opened(DESK)
    page.goto("/")
    fill(page)
    outcome(page)
    page.emulate_media(media="print")
    assert not page.locator("#order").is_visible() and not page.locator("nav").is_visible() and page.locator("#outcome").is_visible()


def test_a_foreign_page_in_the_same_browser(chromium: Any, address: str) -> None:
    """H33: another site's page can neither send a form here, nor read an answer, nor put the page into a frame."""
    with serving(Settings(port=free_port(), formulary=FOLDER)) as foreign:
        context = chromium.new_context()
        ours, theirs = context.new_page(), context.new_page()
        ours.goto(address)
        theirs.goto(foreign.replace("127.0.0.1", "localhost"))
        read = theirs.evaluate(
            "async (a) => { try { return await (await fetch(a + '/api/formulary')).text() } catch (e) { return 'refused' } }", address
        )
        assert read == "refused"
        frames = theirs.evaluate(
            "(a) => { const f = document.createElement('iframe'); f.src = a; document.body.append(f); return new Promise(r => setTimeout(() => r(f.contentDocument === null || f.contentDocument.body.innerText === ''), 700)) }",
            address,
        )
        assert frames
        context.close()


def test_what_is_typed_whole_lifts_what_is_pressed(opened: Any) -> None:
    """A unit, or words, typed beside a pressed one: the pressed one is lifted, in sight, so that nobody is caught between the two."""
    page = opened()
    page.goto("/")
    fill(page)
    page.fill("#weight", "2 st 3 lb")
    assert page.locator("input[name=weight_unit]:checked").count() == 0
    page.fill("#every_typed", "4 times a day")
    page.locator("#every_typed").blur()
    assert page.locator("#every-typed").is_checked()
    outcome(page)
    assert "2 st 3 lb" in page.inner_text("#answer").replace("\u00a0", " ") and "4 times a day" in page.inner_text("#answer").replace(
        "\u00a0", " "
    )


def test_so_few_touches(opened: Any) -> None:
    """An analgesic order: one touch for each field and each choice, and the answer comes by itself."""
    page = opened(has_touch=True)
    page.goto("/")
    taps = 0
    for target, typed in (
        ("#weight", "14.2"),
        ("#weight-unit-1", ""),
        ("#age", "3"),
        ("#age-unit-1", ""),
        ("#medicine", "paracetamol"),
        ("input[name=route][value=oral]", ""),
        ("input[name=for][value=pain]", ""),
        ("#dose", "210"),
        ("#dose-unit-1", ""),
        ("#every-4", ""),
    ):
        page.tap(target)
        taps += 1
        page.keyboard.type(typed)
        if target == "#medicine":
            page.locator(target).blur()
            page.wait_for_selector("#route")
    assert outcome(page) == "WITHIN" and taps == 10


def test_a_fault_leads_to_its_field(opened: Any) -> None:
    page = opened()
    page.goto("/")
    fill(page, "2,1")
    page.click("#answer .not-read a")
    assert page.url.endswith("#dose") and page.locator("#dose").is_visible()
