"""The catalogue of findings: for each code its sentence, its brief sentence for files of orders, and what it means.

The one place where findings become words.  `dosecheck codes` prints the meanings.
"""

from __future__ import annotations

from typing import NamedTuple


class Code(NamedTuple):
    """`sentence` has places for the finding's data; `brief` needs none but the limit (a file of orders uses it)."""

    sentence: str
    brief: str
    meaning: str


def _above(what: str, whole: str) -> Code:
    return Code(
        f"{{value}} is {{times}} the {what} of {{limit}}{{comes}}.",
        f"Above the {what} of {{limit}}.",
        f"{whole} Above an absolute maximum it is a stop; above one per kg or per m2 a query at first, and a stop beyond the policy's margin.",
    )


CATALOGUE: dict[str, Code] = {
    "dose-above-range": Code(
        "{value} is {times} the {most} of {limit}{comes}.",
        "Above the most for one dose of {limit}.",
        "One dose, or the rate of an infusion, is more than the regimen's upper end. Above an absolute maximum it is a stop; above one per kg or per m2 a query at first, and a stop beyond the policy's margin.",
    ),
    "dose-above-single-max": _above("single maximum", "One dose is more than the regimen's maximum for a single dose."),
    "day-above-range": _above("most for a day", "The doses of 24 hours come to more than the regimen's daily upper end."),
    "day-above-max": _above("daily maximum", "The doses of 24 hours come to more than the regimen's daily maximum."),
    "dose-below-range": Code(
        "{value} is below the low end of {limit}{comes}.",
        "Below the low end of {limit}.",
        "One dose is less than the regimen's low end, and not held down by a maximum: it may not work.",
    ),
    "day-below-range": Code(
        "{value} is below the low end of {limit}{comes}.",
        "The day's doses are below the low end of {limit}.",
        "The doses of a day come to less than the regimen's low end: they may not work.",
    ),
    "dose-below-floor": Code(
        "{value} is below the smallest dose of {limit}.",
        "Below the smallest dose of {limit}.",
        "The source gives a least single dose, whatever the weight.",
    ),
    "gap-too-short": Code(
        "Doses {value} apart are closer than the shortest gap of {limit}.",
        "Doses closer than the shortest gap of {limit}.",
        "The doses follow one another faster than the regimen allows (n times a day counts as spread evenly).",
    ),
    "too-many-doses": Code(
        "{value} in 24 hours is more than {limit}.",
        "More doses than {limit}.",
        "More doses fall in some 24 hours than the regimen allows: every 5 hours can be five.",
    ),
    "doses-a-day-not-listed": Code(
        "{value} a day is not one of the source's own: {limit}.",
        "Another number of doses than the source's {limit}.",
        "The source divides the day's dose into certain numbers of doses, and this is none of them.",
    ),
    "total-above-max": _above("total maximum", "The doses of the whole episode, course or window come to more than the regimen's total."),
    "course-too-long": Code(
        "A course of {value} is longer than {limit}.", "A course longer than {limit}.", "The course is longer than the regimen allows."
    ),
    "concentration-above-max": Code(
        "{value} is more concentrated than {limit}.",
        "More concentrated than {limit}.",
        "What is given is stronger than the regimen allows.",
    ),
    "rate-above-max": _above("fastest rate", "The dose is given faster than the regimen allows."),
    "given-too-fast": Code(
        "Over {value} is faster than the shortest time of {limit}.",
        "Given over less than {limit}.",
        "The dose is given in less time than the regimen asks for.",
    ),
    "not-for-this-child": Code(
        "{medicine}: {limit}.", "This medicine is {limit}.", "A regulator or label rules the medicine out for a child like this one."
    ),
    "route-not-for-product": Code(
        "{product} is not for the {route} route.", "The product is not for this route.", "The product in hand is for other routes."
    ),
    "medicine-missing": Code("No medicine is named.", "No medicine is named.", "Name the medicine as the formulary has it."),
    "medicine-unknown": Code(
        'No medicine named "{name}" is in this formulary.{near}',
        "This medicine is not in the formulary.",
        "Nothing was checked: the formulary has no entry of exactly this name. A near name may be shown as a question; its figures are never used.",
    ),
    "no-figures": Code(
        "The formulary has no dose figures of {medicine}; it is listed for its limits alone.",
        "The formulary has no dose figures of this medicine.",
        "The medicine is in the formulary without a regimen, for its age limits or its products; a dose cannot be checked.",
    ),
    "none-in-force": Code(
        "No figures of this medicine were in force on that day; the first are from {first}.",
        "No figures were in force on that day.",
        "An order is checked by the figures of its own date, or of the day that --as-of names.",
    ),
    "route-missing": Code(
        "The route is missing. The formulary has: {has}.", "The route is missing.", "Doses differ by route, so none is assumed."
    ),
    "route-unknown": Code(
        'No regimen by the route "{name}". The formulary has: {has}.',
        "The formulary has no regimen by this route.",
        "Nothing was checked by this route.",
    ),
    "purpose-unknown": Code(
        'No regimen for "{name}" by this route. The formulary has: {has}.',
        "The formulary has no regimen for this purpose.",
        "The purpose must be written as the formulary has it, or left out.",
    ),
    "step-unknown": Code(
        'No regimen has the step "{name}" here. The formulary has: {has}.',
        "The formulary has no regimen for this step.",
        "The step must be one that the regimens have, or left out.",
    ),
    "step-missing": Code(
        "Only figures for a later dose are here ({has}), and the order does not say that it is one.",
        "The step is missing, and only later doses have a regimen.",
        "A first dose must not be judged by the figures of a repeat; say the step.",
    ),
    "condition-missing": Code(
        "The figures here hold only under a condition, and the order states none of them: {has}.",
        "The condition that the figures need is not stated.",
        "Say the condition if it holds; without it the formulary has no figures for this order.",
    ),
    "condition-unknown": Code(
        'The condition "{name}" stands in no regimen of this medicine. The formulary has: {has}.',
        "The formulary does not know this condition.",
        "A condition that the formulary does not know was not taken into account, so the order is not checked.",
    ),
    "product-unknown": Code(
        'No product "{name}" of this medicine is in the formulary. It has: {has}.',
        "The formulary has no such product.",
        "The product must be named by its id; none is ever chosen for you.",
    ),
    "product-needed": Code(
        "An amount in {unit} needs the product: its strength turns it into an amount of medicine. The formulary has: {has}.",
        "The dose needs a product to be turned into an amount of medicine.",
        "Volumes and counted things become an amount only by the strength of a named product.",
    ),
    "product-not-in-regimen": Code(
        "No regimen here is for {product}.",
        "No regimen is for this product.",
        "The regimens that fit are for other products or another release.",
    ),
    "no-regimen-for-child": Code(
        "No regimen fits this child{about}. The formulary has: {has}.",
        "No regimen fits this child's age or weight.",
        "The formulary is silent for a child of this age, weight or gestation; silence is not an all-clear.",
    ),
    "age-missing": Code(
        "The age is missing. Give an age, or a date of birth.",
        "The age is missing.",
        "Age is always due: it decides which regimen applies.",
    ),
    "weight-missing": Code(
        "The weight is missing, and what is per kg or by weight needs it.",
        "The weight is missing.",
        "A limit that is due needs the child's weight.",
    ),
    "height-missing": Code(
        "Height and weight are needed for a figure per m2.",
        "Height and weight are needed for a figure per m2.",
        "A limit that is due needs the body surface area.",
    ),
    "gestation-missing": Code(
        "The gestation at birth is missing, and it decides which regimen applies.",
        "The gestation is missing.",
        "Under a few months, figures can differ by gestation.",
    ),
    "kidney-function-missing": Code(
        "The only figures here are {limit}, and the function is not told. Give creatinine, height and age.",
        "Kidney function is missing, and it decides which regimen applies.",
        "The formulary has figures only for a certain kidney function; it is reckoned from creatinine, height and age.",
    ),
    "dose-missing": Code("The dose is missing.", "The dose is missing.", "There is nothing to check."),
    "frequency-missing": Code(
        "How often is not told, so not all could be checked ({limit}). Say every how long, how many times a day, or once.",
        "How often is not told.",
        "The daily limits need the number of doses.",
    ),
    "gap-not-told": Code(
        "How far apart the doses are is not told, so not all could be checked ({limit}).",
        "How far apart the doses are is not told.",
        "A count alone does not say how close two doses may come.",
    ),
    "repeats-not-bounded": Code(
        "The source sets no end to repeated doses (no number, no daily maximum, and no gap of an hour or more): say once, or how many at most, and ask.",
        "Repeated doses have no limit in the source.",
        "The regimen is for a single dose; more than one could not be checked.",
    ),
    "rate-not-stated": Code(
        "How long the dose takes is not stated, and this regimen requires it ({limit}).",
        "How long the dose takes is not stated.",
        "The regimen marks the rate as required.",
    ),
    "concentration-not-stated": Code(
        "The final volume is not stated, and this regimen requires it ({limit}).",
        "The final volume is not stated.",
        "The regimen marks the concentration as required.",
    ),
    "course-not-stated": Code(
        "The length of the course is not stated, and this regimen requires it ({limit}).",
        "The length of the course is not stated.",
        "The regimen marks the course as required.",
    ),
    "basis-missing": Code(
        "Write what the amount is of: {has}.",
        "The amount does not say which ingredient it is of.",
        "With several ingredients, or equivalents, an amount has two readings.",
    ),
    "basis-unknown": Code(
        '"{name}" is no ingredient of {medicine}. It has: {has}.',
        "The amount is of an unknown ingredient.",
        "The amount must be of an ingredient that the formulary lists.",
    ),
    "ingredient-without-regimen": Code(
        "{ingredient} is also in it, and has no regimen here.",
        "One ingredient has no regimen.",
        "Each ingredient is checked; one without a regimen leaves the order not checked.",
    ),
    "ingredient-amount-unknown": Code(
        "How much {ingredient} goes along is not known without the product.",
        "The amount of another ingredient is not known.",
        "The product says how much of the other ingredients goes along.",
    ),
    "kind-differs": Code(
        "The dose is {kind}, and the regimen is for {other}: one cannot be turned into the other.",
        "The dose is of another kind than the regimen.",
        "Amounts of unlike kinds are never compared (mg and units, a dose and an infusion).",
    ),
    "count-needed": Code(
        "A dose a day needs a whole number of doses a day.",
        "A dose a day needs a number of doses.",
        "A day's dose becomes single doses only by their number.",
    ),
    "weight-kind": Code(
        "This regimen goes by {name} weight, which could not be reckoned: {why}. What is shown is by the child's own weight.",
        "The regimen goes by another weight.",
        "Ideal, adjusted or lean weight is not the weight on the scale.",
    ),
    "kidney-function-reduced": Code(
        "Kidney function is reduced (eGFR {value}, category {stage}), and this formulary has no figures for that here: ask.",
        "Kidney function is reduced, and the regimen has no figures for it.",
        "The estimate is below 60 mL/min/1.73 m2, and the regimen does not say for which kidney function it is meant.",
    ),
    "kidneys-not-told": Code(
        "Kidney function is not told, and the formulary has other figures for it: {other}. It is reckoned from creatinine, height and an age from 1 year on.",
        "Kidney function is not told, and there are other figures for it.",
        "Figures differ by kidney function. A query where the other figures would answer this order otherwise; else a note.",
    ),
    "kidneys-not-reckoned": Code(
        "The creatinine of {value} could not be used: {why}. Kidney function was not looked at.",
        "Kidney function could not be reckoned from the creatinine.",
        "A creatinine is told, but the estimate needs the height too, and holds only from 1 year and below 18 years.",
    ),
    "kidney-function": Code(
        "Kidney function: eGFR {value}, category {stage}; {about} ({source}).",
        "Kidney function was reckoned.",
        "A note: the estimate of kidney function that the answer goes by, its category, and what it does not mean.",
    ),
    "weight-far-above": Code(
        "The weight is far above the centiles: {z}. The source does not say which weight its figures per kg go by: ask whether the weight on the scale is meant, or an ideal or adjusted one.",
        "The weight is far above the centiles, and the regimen does not say which weight it goes by.",
        "Figures per kg come from children of usual weight. A regimen that says which weight it goes by is not asked about; how far is far is the policy's.",
    ),
    "goes-by-weight": Code(
        "This regimen goes by {name} weight: {value}.",
        "The regimen goes by another weight.",
        "A note: the limits per kg were held by an ideal or adjusted weight, as the formulary says; the working shows it.",
    ),
    "gestation-not-told": Code(
        "Under 3 months and the gestation is not told: it is not taken as term.",
        "Under 3 months and the gestation is not told.",
        "A baby of unknown gestation may be preterm, which the regimen does not speak of.",
    ),
    "preterm": Code(
        "Born at {value}: the regimen does not say that it is meant for a preterm baby.",
        "A preterm baby; the regimen does not speak of it.",
        "The regimen names no gestation; ask before using it for a baby born before 37 weeks and still small.",
    ),
    "weight-not-measured": Code(
        "The weight is {name}, not measured.",
        "The weight is not measured.",
        "For a high-risk medicine a stated or estimated weight is a query; otherwise a note.",
    ),
    "weight-old": Code(
        "The weight is {value} old; the policy asks for one not older than {limit} at this age.",
        "The weight is older than the policy allows.",
        "A growing child's old weight is doubtful.",
    ),
    "weight-not-believable": Code(
        "{value} is hard to believe at {age}: {z}; the policy believes {limit}.{hint}",
        "The weight is hard to believe for the age.",
        "The weight lies beyond the policy's z-limits of the growth reference for the age: weigh again, and look for pounds, a slipped point, changed digits, or another age.",
    ),
    "purpose-not-told": Code(
        "{medicine} is a high-risk medicine: say what it is for.",
        "A high-risk medicine, and what it is for is not told.",
        "The same medicine and route can have very different doses for different purposes; for a high-risk medicine none is assumed.",
    ),
    "age-straddles": Code(
        "The age as given ({age}) lies on both sides of an edge, and the answer differs: give the date of birth.",
        "The age as given lies on both sides of an edge.",
        'An age such as "2 months" covers a stretch of days, and figures change within it.',
    ),
    "regimens-differ": Code(
        "Several regimens fit and do not agree: {which}. Say what it is for, the step, or a closer age.",
        "Several regimens fit and do not agree.",
        "The order leaves out something by which the regimens differ.",
    ),
    "internal-fault": Code(
        "An unexpected fault stopped the check: {name}. Nothing was checked.",
        "An unexpected fault stopped the check.",
        "A fault of the program never ends in an all-clear; please report it.",
    ),
    "unreadable": Code("{why}", "The row cannot be read.", "A field of the row cannot be read; the reason says what to write instead."),
    "weight-not-compared": Code(
        "The weight was not compared with the age: {why}.",
        "The weight was not compared with the age.",
        "A note: no age, a baby before term, above 20 years, or a policy without z-limits for the age.",
    ),
    "weight-undated": Code("The weight has no date.", "The weight has no date.", "A note: nobody said when the child was weighed."),
    "weight-kind-not-told": Code(
        "Whether the weight was measured is not told.",
        "Whether the weight was measured is not told.",
        "A note: measured, stated or estimated was not said.",
    ),
    "low-not-checked": Code(
        "The source gives no low end: whether the dose is enough was not checked.",
        "No low end in the source.",
        "A note: only the upper side was checked.",
    ),
    "no-daily-ceiling": Code(
        "No daily maximum is set: {name}.", "No daily maximum in the source.", "A note: the regimen says why it has no daily ceiling."
    ),
    "not-measurable": Code(
        "{value} is {share} with {product}, which its steps do not measure.",
        "The product's steps do not measure this dose.",
        "A note: the product's measuring steps, or the parts a tablet divides into, do not come to this dose; the answer names the most that they can.",
    ),
    "local": Code(
        "This regimen is the site's own: {reason}",
        "A local regimen.",
        "A note: the figures come from the site's local folder, with its reason.",
    ),
    "too-soon": Code(
        "The last dose of {ingredient} was {value} ago, and the shortest gap is {limit}. The earliest time: {next}.",
        "Too soon after the last dose.",
        "The doses told and this one, given now, are closer than the regimen allows. A time told as a range counts at its later end.",
    ),
    "too-many-with-earlier": Code(
        "With this dose and those told, {ingredient} comes to {value}: more than {limit}.",
        "Too many doses with the earlier ones.",
        "The doses told in the last 24 hours and this one, given now, are more than the regimen allows; every product, name and route counts.",
    ),
    "day-above-with-earlier": Code(
        "With this dose and those told, {ingredient} comes to {value}: {times} the {name} of {limit}{comes}.",
        "Above the daily maximum with the earlier doses.",
        "The doses told in the last 24 hours and this one, given now, come to more than the regimen's daily limit. A dose exactly 24 hours ago is outside.",
    ),
    "total-above-with-earlier": Code(
        "With this dose and those told, {ingredient} comes to {value}: {times} the {name} of {limit}{comes}.",
        "Above the total maximum with the earlier doses.",
        "The doses told in the limit's window and this one, given now, come to more than the regimen's total.",
    ),
    "course-so-far": Code(
        "The first dose of {ingredient} told was {value} ago: longer than a course of {limit}. Leave out doses of another course.",
        "The course has lasted longer than allowed.",
        "From the first dose told to this one is longer than the regimen's longest course.",
    ),
    "later-dose-breaks": Code(
        "{which}, {when}, would bring {ingredient} to {value} with the doses told: more than {limit} ({name}). By this limit the dose now is not too much.",
        "A later dose of the order would break a limit with the earlier doses.",
        "This dose, given now, keeps the limit with the doses told; the order's further doses, given as scheduled, would not.",
    ),
    "earlier-above-max": Code(
        "The doses told, without this one, had come to {value} of {ingredient} ({when}): more than {limit} ({name}). Tell the prescriber.",
        "The earlier doses were above a limit already.",
        "In some 24 hours before now the doses given were more than the regimen allows, whatever is given now.",
    ),
    "earlier-beside-infusion": Code(
        "{ingredient} was given before, and this order is an infusion of it: how the two add up is not worked out.",
        "Earlier doses beside an infusion.",
        "Single doses and an infusion of the same ingredient are not added up here.",
    ),
    "given-amount-unknown": Code(
        "A dose given cannot be counted ({which}). {why}",
        "A dose given cannot be counted.",
        "A dose of the same ingredient whose amount is not known leaves the order not checked.",
    ),
    "given-medicine-unknown": Code(
        "A dose given is of a medicine that is not in this formulary ({which}): what is in it cannot be counted.",
        "A dose given is of an unknown medicine.",
        "What an unknown medicine holds may be the same ingredient, so the order is not checked.",
    ),
    "given-twice": Code(
        "The same dose at the same time is told twice ({which}). Both are counted; look whether it was one.",
        "The same dose is told twice.",
        "A repeated record is counted and named, never dropped.",
    ),
    "given-dose-large": Code(
        "A dose told is {value}, {times} the most for one dose ({which}): look at the record, and tell the prescriber.",
        "A dose given is far above the most for one dose.",
        "One of the doses told is far above the regimen's most for one dose: a slip in the record, or an overdose.",
    ),
    "given-too-close": Code(
        "Two doses of {ingredient} told were {value} apart, closer than {limit}.",
        "Two earlier doses were close together.",
        "A note: two of the doses told were closer than the regimen's shortest gap.",
    ),
    "not-the-first": Code(
        "The order is for a {step} dose, and a dose was given before ({which}).",
        "A first or loading dose after another.",
        "A first or loading dose given twice can be too much: ask.",
    ),
    "same-ingredient": Code(
        "The same ingredient, {ingredient}, is in: {which}. It is counted together.",
        "The same ingredient in another product or medicine.",
        "A note: doses of another product or medicine with this ingredient count in the same totals.",
    ),
    "same-ingredient-ordered": Code(
        "{ingredient} is in two current orders: {which}. Each was checked alone; together they may be too much.",
        "The same ingredient in two current orders.",
        "Two current orders with one ingredient: stop one of them, or have the prescriber say how they go together.",
    ),
    "other-route-counted": Code(
        "Doses of {ingredient} by another route ({routes}) are counted as they are: nothing is converted between routes.",
        "Doses by another route are counted as they are.",
        "A note: totals and gaps run over all routes; no dose is converted from one route to another.",
    ),
    "same-group": Code(
        "{medicine} and a medicine of the same group, {groups}, in 24 hours: {which}. Nothing is converted or added between them.",
        "Two medicines of one group in 24 hours.",
        "Two different medicines of a group that the policy lists (such as two NSAIDs, two sedatives) within 24 hours: ask.",
    ),
    "doses-given-not-told": Code(
        'The chart does not say which doses were given: list them, or write doses_given = "none".',
        "The doses given are not told.",
        "A chart that lists no dose and does not say that none was given is not checked.",
    ),
    "no-current-order": Code(
        "The chart has no current order: there is nothing to hold the doses against.",
        "No current order.",
        "Limits depend on route and purpose, so without an order doses are only added up.",
    ),
    "given-time-unknown": Code(
        "A dose of {ingredient} has no time that can be read ({which}), so it has no place among the others.",
        "A dose given has no time that can be read.",
        "Doses beside one without a time cannot be added up in full, so the child's doses of that ingredient are not checked.",
    ),
    "given-not-held": Code(
        "No limit could be held against a dose of {ingredient} ({which}): the answer to its own row says why.",
        "No limit could be held against a dose given.",
        "The dose counts for those after it, but no regimen was read for it, or it has a limit that a file of orders does not hold.",
    ),
    "children-disagree": Code(
        "Rows with this reference disagree about the {name}, so they may be two children ({which}): their doses were not added up.",
        "Rows of one reference may be two children.",
        "Doses of two children must never be added up, nor one child's doses be taken apart unseen: look at the references.",
    ),
    "given-to-too-many": Code(
        "More doses stand under this reference than one child can have been given, the first of them in {which}: nothing under it was added up.",
        "The reference stands for more than one child.",
        "There are more than 1,000,000 doses, one every ten minutes for 18 years: a place-holder, or a wrong column. Give each child a reference of its own.",
    ),
    "goes-along": Code(
        "{ingredient} goes along in the product's fixed ratio; the source doses the mixture by {by}.",
        "Another ingredient goes along.",
        "A note: the source gives the dose of a mixture by one of its ingredients.",
    ),
}

# Why a weight was not compared with the age.
NOT_COMPARED = {
    "age": "no age is told",
    "term": "the baby is, or may be, not yet at 40 weeks, where the growth references begin",
    "years": "the growth references end at 20 years",
    "policy": "the policy has no z-limits for the age",
}

# What would explain a weight that is hard to believe; each finishes "It would fit if ...".
WEIGHT_SLIPS = {
    "pounds": "the figure is in pounds ({other})",
    "kilograms": "kilograms were taken as pounds ({other})",
    "point": "the decimal point has slipped ({other})",
    "point lost": "the decimal point has slipped ({other})",
    "digits": "two digits have changed places ({other})",
    "age": "the age is {other}",
}

# Why a regimen's lean weight is not reckoned.
LEAN_NOT_RECKONED = "no formula for children's lean weight has been read at its source"
