"""Units that are pressed instead of typed; anything else can be typed with its number.  The strict reader reads both."""

CHILD_PRESSED = {
    "weight": ("kg", "g", "lb"),
    "age": ("years", "months", "weeks", "days"),
}
PRESSED = {
    "dose": ("mg", "micrograms", "g", "mL", "puffs", "tablets", "drops", "units", "mmol"),
    "dose_more": (
        "mg/kg",
        "micrograms/kg",
        "units/kg",
        "mL/kg",
        "mg a day",
        "mg/kg a day",
        "micrograms/kg/min",
        "micrograms/kg/h",
        "mg/kg/h",
        "mL/h",
    ),
    "every": ("once", "4 hours", "4 to 6 hours", "6 hours", "8 hours", "12 hours", "24 hours"),
}
