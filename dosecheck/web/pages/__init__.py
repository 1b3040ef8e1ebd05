"""The pages, one a module, each with a `router`: a form and its answer for eyes, and the same answer as JSON under /api/."""
