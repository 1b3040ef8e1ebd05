"""How much a formulary would catch: right orders drawn over its children, known slips seeded in them, all of them checked."""
