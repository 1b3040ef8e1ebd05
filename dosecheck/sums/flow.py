"""Volumes, times, rates and drops: what a bag or a giving set runs at, and for how long.

Source of the drop factors: Drug calculations refresher, a university's academic-skills sheet, 2008, page 2: drops a
minute are mL/h over (60 / drops per mL).
"""

from __future__ import annotations

from fractions import Fraction

from dosecheck.errors import Fault, InputError
from dosecheck.quantity import Quantity
from dosecheck.reading import read_volume
from dosecheck.reading.clock import read_duration
from dosecheck.reading.figures import reader_of
from dosecheck.showing import show_length
from dosecheck.sums.amounts import bag_doubts, flow_doubts, set_doubts, to_set
from dosecheck.sums.frame import Answer, Doubt, Field, Result, Sum, one_of, rounded
from dosecheck.sums.infusion import read_flow
from dosecheck.working import BY, TIMES, Step

SETS = "A set says on its pack what it gives: 20 drops/mL for clear fluid, 15 for blood, 60 for a paediatric burette, in this source."
DROPS_SOURCE = "Drops/min = mL/h / (60 / drops per mL): Drug calculations refresher, a university's academic-skills sheet, 2008, page 2"
FLOW_SOURCE = "Rate = volume / time: arithmetic alone"
_read_set = reader_of(("drop/volume",), "giving set", "20 drops/mL")
_read_drops = reader_of(("drop/time",), "drop rate", "42 drops/min")
_DROP = Quantity(Fraction(1, 60), "drop/time", "drops/min")
_MINUTE = Quantity(60, "time", "minutes")


def rate(volume: Quantity, time: Quantity) -> Answer:
    """mL/h that runs a volume in a time; the pump's figure is rounded to 0.1 mL/h and said so."""
    flow, step = _over(volume, time)
    return Answer((Result("rate", flow), *to_set(flow)), (step,), (*bag_doubts(volume), *set_doubts(flow)), (), (FLOW_SOURCE,))


def duration(volume: Quantity, rate: Quantity) -> Answer:
    """How long a bag or a syringe lasts at a rate."""
    time = Quantity(volume.value / rate.value, "time", "hours")
    minutes = rounded(time, _MINUTE).value
    in_words = Result("in words", show_length(minutes) if minutes else "less than a minute", "rounded to a minute" if minutes else "")
    results = (in_words, Result("time", time))
    doubts = [*bag_doubts(volume), *flow_doubts(rate)]
    if time.value < 60:
        doubts.append(Doubt("time-too-short", "It lasts less than a minute: look at the volume and the rate again."))
    return Answer(results, (Step("time", (volume, BY, rate), time),), tuple(doubts), (), (FLOW_SOURCE,))


def drops(set: Quantity, rate: Quantity | None, volume: Quantity | None, time: Quantity | None) -> Answer:
    """Drops a minute for a rate, or for a volume in a time: exactly, in whole drops, and what those run at."""
    flow, steps = _flow(rate, volume, time)
    exact = Quantity(flow.value * set.value, "drop/time", "drops/min")
    whole = rounded(exact, _DROP)
    runs = Quantity(whole.value / set.value, "volume/time", "mL/h")
    steps += [Step("drops a minute", (flow, TIMES, set), exact), Step("whole drops run at", (whole, BY, set), runs)]
    results = (Result("drops", exact), Result("to count", whole, "rounded to a whole drop"), Result("which runs at", runs))
    return Answer(results, tuple(steps), (*_drop_doubts(set, whole), *flow_doubts(flow)), (SETS,), (DROPS_SOURCE,))


def drops_rate(set: Quantity, drops: Quantity) -> Answer:
    """mL/h that counted drops run at."""
    flow = Quantity(drops.value / set.value, "volume/time", "mL/h")
    doubts = (*_drop_doubts(set, drops), *flow_doubts(flow))
    return Answer((Result("rate", flow),), (Step("rate", (drops, BY, set), flow),), doubts, (SETS,), (DROPS_SOURCE,))


def _flow(rate: Quantity | None, volume: Quantity | None, time: Quantity | None) -> tuple[Quantity, list[Step]]:
    if one_of(rate=rate, volume=volume) == "rate":
        if time:
            raise InputError([Fault("time", "", "With a rate no time is needed.", "Write rate alone, or volume and time.")])
        return rate, []
    if time is None:
        raise InputError([Fault("time", "", "A volume is given without its time.", 'Write it as "8 hours".')])
    flow, step = _over(volume, time)
    return flow, [step]


def _over(volume: Quantity, time: Quantity) -> tuple[Quantity, Step]:
    flow = Quantity(volume.value / time.value, "volume/time", "mL/h")
    return flow, Step("rate", (volume, BY, time), flow)


def _drop_doubts(set: Quantity, drops: Quantity) -> list[Doubt]:
    """Sets give 10 to 60 drops/mL, and about three drops a second can still be counted: common practice, no source."""
    found = []
    if not 10 <= set.number <= 60:
        found.append(Doubt("set-unusual", "Giving sets usually give 10 to 60 drops/mL: look at the pack again."))
    if drops.number < 1:
        found.append(Doubt("drops-too-few", "It is less than one drop a minute: use a set with smaller drops, or a pump."))
    if drops.number > 180:
        found.append(Doubt("drops-too-many", "More than three drops a second cannot be counted: use another set, or a pump."))
    return found


_SET = Field("set", _read_set, "20 drops/mL", "what the giving set gives, from its pack")
_VOLUME = Field("volume", read_volume, "500 mL", "the volume to run")
_TIME = Field("time", read_duration, "8 hours", "the time to run it in")
_RATE = Field("rate", read_flow, "75 mL/h", "the rate")

SUMS = {
    "flow-rate": Sum("Rate for a volume in a time", (_VOLUME, _TIME), rate),
    "flow-time": Sum("How long a volume lasts", (_VOLUME, _RATE), duration),
    "drops": Sum(
        "Drops a minute", (_SET, _RATE._replace(needed=False), _VOLUME._replace(needed=False), _TIME._replace(needed=False)), drops
    ),
    "drops-rate": Sum(
        "Rate that drops run at", (_SET, Field("drops", _read_drops, "42 drops/min", "drops counted in a minute")), drops_rate
    ),
}
