"""What each code of advice means, why it matters, and what to do: the page behind it."""

from __future__ import annotations

from typing import NamedTuple

from dosecheck.quantity import Quantity
from dosecheck.showing import show
from dosecheck.workshop.advice.bands import MOST_JUMP
from dosecheck.workshop.advice.maxima import HEAVY

ACCEPT = (
    "Advice that was looked at and is right as it stands is accepted in accepted.toml, with the reason: "
    '[[accepted]] code = "no-absolute-maximum", about = ["exampol/oral-child"], reason = "...". It is counted, not repeated.'
)


class Page(NamedTuple):
    means: str
    matters: str
    do: str


_HEAVY = show(Quantity(HEAVY, "weight", "kg"))
PAGES: dict[str, Page] = {
    "gap-between-bands": Page(
        "Between two bands of regimens that an order could mean alike (same route, purpose, step, conditions, products) are children to whom none applies.",
        "Such a child's order is not checked: the answer says so, but the nurse is left without a second check where one is expected.",
        "Look at the source. Tables printed as 5 to 8 kg, 10 to 12 kg leave 8 to 10 kg out; write the band as the source means it, add the missing row, or accept the gap with the reason.",
    ),
    "jump-at-an-edge": Page(
        f"At the edge between two bands the largest single dose changes by more than {MOST_JUMP} times for one and the same child. Where the edge is an age, a usual weight at that age is taken (the growth reference's median of girls).",
        "A day before or after the edge the same dose is right and twice too much. Often one of the two rows holds a slip of a figure.",
        "Compare both rows with the source. Where it is so printed, accept it with the reason.",
    ),
    "maximum-never-binds": Page(
        "A maximum stands above whatever the other figures allow, for the lightest and for the heaviest child of the regimen.",
        "It limits nothing. It may be a slip (4 g for 400 mg), or belong to another regimen.",
        "Compare it with the source; lower it, leave it out, or accept it as printed.",
    ),
    "day-below-its-doses": Page(
        "The largest single dose, given as often as the regimen allows, passes the maximum of the day.",
        "An order that keeps the single dose and the number of doses is stopped for the day's sum; the reader of the figures may not expect that. Or one of the three figures is wrong.",
        "Check the three figures against the source. Where they are so printed, accept it with the reason.",
    ),
    "no-absolute-maximum": Page(
        f"Every maximum of the regimen goes by the weight, and neither a weight band nor the age keeps its children below {_HEAVY}.",
        "For a heavy child the figure per kg passes an adult's dose, and nothing stops it.",
        "Give max_single or max_daily an absolute figure from the source, end the regimen with a weight band, or accept it where the source means it so.",
    ),
    "not-measurable-here": Page(
        "For the lightest or the heaviest child of the regimen none of the medicine's products measures a dose that keeps its figures. The weights are those of its band, or the least and greatest that the policy believes at its ages.",
        "The nurse at the bedside has no dose to draw up from what is in the cupboard.",
        "Add the product that is used for such children, or its measuring steps; or accept it.",
    ),
    "names-look-alike": Page(
        "Names of two medicines have most of their letters in common, in the same order.",
        "One may be written, read or picked for the other. The check takes exact names only, so it cannot know which was meant.",
        "Store and label them apart as local guidance says. Accept the pair when that is done.",
    ),
    "ingredient-maxima-differ": Page(
        "Two medicines of this formulary hold the same ingredient by the same route for some of the same children, and their maxima of a day differ.",
        "Doses of both count together by ingredient; which maximum holds depends on the name that the order uses.",
        "Make both the same, or accept the difference with the reason.",
    ),
    "check-old": Page(
        "The entry was last checked more than three years ago.",
        "Guidance changes; nobody has compared the figure with it since.",
        "Compare it with the current edition of its source, and use dosecheck formulary approve.",
    ),
    "review-overdue": Page(
        "The policy's review_by has passed.",
        "Each answer says so.",
        "Review the figures, and set the next date.",
    ),
    "approval-lapsed": Page(
        "A file says that it is approved, but some of its figures were changed since they were checked, or were never checked.",
        "It counts as a draft, and each answer says so.",
        "dosecheck formulary approvals names the entries; check them and use dosecheck formulary approve.",
    ),
    "source-unused": Page(
        "A source stands in sources.toml, and no figure names it.",
        "It may be left over, or a figure may name another source by mistake.",
        "Leave it out, or look for the figure that should name it.",
    ),
    "group-without-medicine": Page(
        "The policy watches over a group of ingredients that no ingredient is in.",
        "A misspelt group watches over nothing.",
        "Look at the spelling in policy.toml and in the medicines.",
    ),
    "no-medicine": Page("There is no medicine in the folder.", "Every order is not checked.", "Add a file to medicines/."),
    "acceptance-unused": Page(
        "accepted.toml accepts advice that is no longer given.",
        "The reason may be about figures that were changed since.",
        "Leave the line out, or look at what it was about.",
    ),
}
