"""What each key of a formulary's files holds, in a sentence: for the hover help of editors and the comments of a new file.

By table (the class in `formulary/models.py` and the modules beside it) and key; `COMMON` serves every table that says
nothing of its own.  formulary/README.md tells more.
"""

from __future__ import annotations

COMMON = {
    "id": "Lower-case letters and digits with single hyphens; answers and approvals name the entry by it.",
    "source": "Where the figures are published: the source's id in sources.toml, and the place in it.",
    "checked": 'Who checked the figures, and when. Written by "dosecheck formulary approve", never by hand.',
    "note": "Free text for readers: which source was chosen, and why.",
    "status": '"example", "draft" or "approved"; anything but "approved" adds a line to each answer.',
    "reason": "Why, in your own words; it is printed.",
    "age": "Ages since birth: from is inside, below is outside; at least one of them.",
    "weight": "Weights: from is inside, below is outside; at least one of them.",
    "dose": "Per dose: one figure, or a low and a high end. Per kg, per m2, or fixed; an infusion per minute or per hour.",
    "max_single": "The most of one dose: a list of which the least holds.",
    "max_daily": "The most in any 24 hours: a list of which the least holds; or the reason for none, as the source has it.",
    "max_doses": "The most doses in any 24 hours.",
    "release": '"immediate" (when left out) or "modified".',
    "device": "What the medicine is inhaled from; left out where the source does not say.",
    "devices": "The devices that it is for; left out where the source does not part by them.",
    "output": "Inhaled: whether the strength is metered (leaves the valve) or delivered (leaves the mouthpiece).",
    "particle": "Inhaled: standard or extra-fine, where the source says so.",
    "ingredient": "One or more; totals and duplicates go by ingredient.",
    "product": "What is in stock: form, strength, and what can be measured of it.",
    "regimen": "One line of practice: for whom, how much, how often, and the most.",
    "age_limit": "A child for whom all that the entry states holds is stopped.",
    "daily_band": "A row of a published table of low, medium and high daily doses of an inhaled medicine.",
    "example": "A worked example as the source prints it, and what must come of it; the last entries of the file.",
}

_VALUE = {"value": "The setting."}

TABLES: dict[str, dict[str, str]] = {
    "MedicineFile": {
        "id": "The same as the file's name without .toml.",
        "name": "As orders write it, in lower case; no trade name.",
        "aliases": "Other exact names, in lower case; a name belongs to one medicine only, and a near miss never counts.",
        "codes": "Codes of any system, each a list.",
        "high_risk": "true: no margin above a maximum per kg, an estimated weight is a query, and two people approve.",
        "basis": '"stated": an amount must say what it is of. Always so when there are several ingredients.',
    },
    "LocalFile": {
        "medicine": "The id of the medicine that this site changes.",
        "reason": "Why this site differs; printed with every finding that comes of it.",
        "withdraw": "Ids of the base's regimens that this site does not use.",
        "regimen": "The same id replaces the base's regimen; a new id adds one.",
    },
    "Ingredient": {
        "id": 'Lower-case words; what an order may write after "of".',
        "aliases": 'Other exact names that an order may write after "of".',
        "groups": 'Free words such as "NSAID": policy.toml may allow one of a group at a time.',
        "equals": "A factor between kinds for this ingredient alone, with its source.",
    },
    "Product": {
        "name": "Form and strength in words; no trade name.",
        "form": "What it is: a tablet, an oral liquid ...",
        "routes": "The routes by which it is given; an order by another is stopped.",
        "strength": "What it holds of its one ingredient: per volume, or per tablet, puff ...",
        "strengths": "Of several ingredients: a table of each with its strength.",
        "measure": "What can be measured: steps by volume, smallest first, the last without up_to.",
        "divides": "Into how many equal parts a tablet or suppository divides; 1 when left out.",
        "puffs": "How many puffs an inhaler holds when new.",
        "source": "Where the strength is published: the source's id in sources.toml, and the place in it.",
    },
    "Regimen": {
        "id": "Unique among those in force; the same id with a later valid_from supersedes.",
        "valid_from": "The day from which the figures hold; a date without quotes. Older orders go by older figures.",
        "route": "By which route it is given.",
        "for": "What it is for: short lower-case words, as orders write them.",
        "step": "Where the source parts them: first, repeat, loading or maintenance.",
        "gestation": "Weeks of gestation at birth: from is inside, below is outside.",
        "postmenstrual": "Weeks since the mother's last period: from is inside, below is outside.",
        "corrected": "Age less the weeks born before 40: from is inside, below is outside.",
        "egfr": "Kidney function (estimated GFR): from is inside, below is outside. Give every range its own regimen.",
        "conditions": "The regimen fits only an order that states each of them.",
        "products": "Ids of the products that it is for; left out: all of the route.",
        "ingredient": "Which ingredient the figures are of; needed when there are several.",
        "covers": "Other ingredients that are dosed along with it in the fixed ratio of the listed products.",
        "per": '"dose" (when left out) or "day", which needs doses_a_day.',
        "doses_a_day": "The numbers of doses a day that the source gives; any other is a query.",
        "band": "Instead of dose: a table by age or weight, each row with its own dose.",
        "min_gap": "The shortest time between doses.",
        "floor": "The least single dose, whatever the weight.",
        "totals": "The most over an episode, a course, or a stated time.",
        "max_course": "The longest course.",
        "max_concentration": "The strongest that it may be given.",
        "max_rate": "The fastest that it may be given: a list of which the least holds.",
        "min_duration": "The least time to give one dose over.",
        "required": "What the order must state, or it is not checked: rate, concentration, course.",
        "query_up_to": "The regimen's own margin above a maximum per kg, in place of the policy's.",
        "goes_by": "Which weight the figures per kg go by; left out, the child's own.",
        "rounding": "The source's own rounding, as a sentence; it is printed.",
        "ask_first": "Up to three short sentences from the source; printed, never judged.",
    },
    "BandRow": {},
    "AgeLimit": {
        "age_below": "The age below which it is stopped.",
        "weight_below": "The weight below which it is stopped.",
        "corrected_below": "The corrected age below which it is stopped.",
        "postmenstrual_below": "The weeks since the mother's last period below which it is stopped.",
        "condition": "Only for an order that states it; otherwise it is printed as something to observe.",
        "routes": "Only for these routes.",
        "for": "Only for these purposes.",
        "source": "The regulator or label: its id in sources.toml, and the place in it.",
    },
    "DailyBand": {
        "low": "The low daily dose: from and to are inside, above is outside.",
        "medium": "The medium daily dose: from and to are inside, above is outside.",
        "high": "The high daily dose: from and to are inside, above is outside.",
        "as_printed": "true where the source itself prints an end in two bands, or leaves a gap between them.",
    },
    "Example": {
        "given": "The columns of an order, as text.",
        "expect": "With a dose: the outcome, and codes that must be found. Without: least, largest or volume.",
    },
    "Expected": {
        "outcome": "within, query, stop or not-checked.",
        "codes": "Codes of findings that must be among those found.",
        "least": "The least single dose, as dosecheck dose shows it.",
        "largest": "The largest single dose, as dosecheck dose shows it.",
        "volume": "The volume of the product, as dosecheck dose shows it.",
    },
    "Source": {"id": "The source's id in sources.toml.", "place": 'Where in it: "table 3, row 2".'},
    "Checked": {
        "by": "Who compared the figures with the source.",
        "on": "On which day; a date without quotes.",
        "figures": "A print of the figures as they were; an edited figure no longer fits it.",
    },
    **{
        band: {"from": f"The lower end, inside: {what}.", "below": f"The upper end, outside: {what}."}
        for band, what in (
            ("AgeBand", "one whole unit"),
            ("WeightBand", "in kg"),
            ("WeeksBand", "in weeks"),
            ("FiltrationBand", "in mL/min/1.73 m2"),
        )
    },
    "DoseEnds": {
        "low": "The low end; alone only where the source gives just a floor.",
        "high": "The high end; alone only where the source gives just a ceiling.",
    },
    "DayEnds": {"from": "The lower end, inside.", "above": "The lower end, outside.", "to": "The upper end, inside."},
    "NoDaily": {"none": "Why there is no daily maximum, as the source has it."},
    "Total": {"over": '"episode", "course", or a time such as "7 days".', "max": "The most over it: a list of which the least holds."},
    "Step": {"up_to": "Up to which volume the step holds; the last has none.", "step": "The smallest step that can be measured."},
    "Equals": {"amount": "One side of the equation.", "is": "The other side, of another kind."},
    "PolicyFile": {
        "query_up_to": "How far above a maximum per kg an order is a query; beyond it, a stop.",
        "point_allowance": "How far below a single figure an order may lie and still be within.",
        "weight_age_infant": "Below 1 year: how old a weight may be before it is a query.",
        "weight_age_child": "From 1 year: how old a weight may be before it is a query.",
        "weight_z": "Beyond which z-scores for the age a weight is a query; left out: weights are not compared with the age.",
        "weight_far_above": "Above this z-score a regimen per kg that does not say which weight it goes by is a query.",
        "growth_reference": '"who" (to 10 years, then CDC; also when left out) or "cdc" (from 2 years on).',
        "one_at_a_time": "Groups of which two different medicines within 24 hours are a query; left out: every group.",
        "most_step_down": "The largest cut of an inhaled corticosteroid's daily dose that is not a query.",
        "inhaled_table": "The source of the table of daily bands that you go by; left out: all are shown side by side.",
        "clear_page_after": "How long a page of the browser may stand unused before it clears itself; left out: 5 minutes.",
        "review_by": "After this day every answer says that the figures are due for review.",
    },
    **{line: _VALUE for line in ("ShareLine", "TimeLine", "IdLine", "HighZLine", "ListLine", "ReferenceLine")},
    "DateLine": {"value": "A date without quotes."},
    "ZLine": {"bands": "Rows from younger to older, each with the least and the greatest z-score that is believed."},
    "ZRow": {"from": "From this age on.", "low": "The least z-score, as text.", "high": "The greatest z-score, as text."},
    "SourceEntry": {
        "title": "The title.",
        "organisation": "Who publishes it.",
        "year": "The year of the edition that was read.",
        "address": "Where it can be found, http or https.",
        "grade": "primary, label reprint or secondary.",
    },
    "SheetFile": {"section": "The sheet's sections, in order."},
    "Section": {"title": "Your own heading.", "lines": "What stands under it, in order; at most 30 in all."},
    "SheetLine": {
        "medicine": "The medicine's id.",
        "regimen": "Instead of route and purpose: one regimen by its id.",
        "route": "With for: every regimen of that route and purpose; the child decides which one fits.",
        "for": "The purpose, as the regimen has it.",
        "step": "Only the regimens of that step.",
        "product": "The strength in stock, for the volume; without it the dose alone is printed.",
        "sum": "Instead of a medicine: a sum.",
        "rule": "Which rule of the sum, where it has several.",
    },
    "AcceptedFile": {"accepted": "Advice of lint that was looked at and is right as it stands."},
    "Acceptance": {
        "code": "The code of the advice.",
        "about": 'What it is about, as the advice names it: "exampol/oral-child".',
        "reason": "Why it is right as it stands.",
    },
}


def about(table: str, key: str) -> str:
    """Raises: KeyError: nothing is said of that key."""
    own = TABLES[table]
    return own[key] if key in own else COMMON[key]
