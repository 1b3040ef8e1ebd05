"""Questions and marks for eyes."""

from __future__ import annotations

from typing import Any

from dosecheck.cli.text import block, heading, wrapped
from dosecheck.drill.mark import UNREADABLE, Mark
from dosecheck.drill.question import CAUTION, Question


def question_lines(asked: Question) -> list[str]:
    """What is told, what is asked, and the words to choose among."""
    lines = [wrapped(asked.text), wrapped(asked.ask)]
    return lines + [wrapped(f"{choice.word}: {choice.means}", "  ", "      ") for choice in asked.choices if choice.means != choice.word]


def question_text(asked: Question, hints: tuple[str, ...] = ()) -> str:
    """A question for eyes."""
    lines = [heading(f"Question {asked.id}"), *question_lines(asked)]
    lines += [wrapped(hint, "Hint: ") for hint in hints]
    return "\n".join([*lines, "", wrapped(CAUTION)])


def mark_text(asked: Question, marked: Mark | None, caution: bool = True) -> str:
    """The mark first, then which mistake it was, then the lesson; an unreadable answer may be written again, so nothing is shown.

    Args:
        marked: None for a question that was skipped.
    """
    parts = [heading(marked.headline if marked else "SKIPPED.")]
    said = [line for line in marked.said if line not in ("Right.", "Not right.")] if marked else []
    parts += ["\n".join(wrapped(line, "  ") for line in said)] if said else []
    flaws = marked.flaws if marked else ()
    parts.append(block("Safer writing", [f"{flaw.why[0].upper()}{flaw.why[1:]}. {flaw.write}" for flaw in flaws]))
    if not marked or marked.result != UNREADABLE:
        lesson: dict[str, Any] = asked.lesson()
        parts.append(wrapped(lesson["answer"], "Answer: "))
        parts.append(block("Working", lesson["working"]))
        parts.append(block("Notes", lesson["notes"]))
        parts.append(wrapped(lesson["source"], "Source: ") if lesson["source"] else "")
    return "\n\n".join(part for part in (*parts, wrapped(CAUTION) if caution else "") if part)
