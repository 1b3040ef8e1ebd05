"""How a session shows itself: to a person at a terminal (or a pipe), line by line, or to a program as JSON Lines."""

from __future__ import annotations

import json
import sys
from typing import Any, NamedTuple, Protocol

import click

from dosecheck.cli.drill.text import mark_text, question_lines
from dosecheck.cli.text import heading, wrapped
from dosecheck.drill.mark import RIGHT, UNREADABLE, Mark
from dosecheck.drill.question import CAUTION, Question
from dosecheck.drill.session import Session

HINT, SKIP, STOP, ANSWER = "hint", "skip", "stop", "answer"


class Said(NamedTuple):
    """What came in: `what` of the four words above, and the text of an answer."""

    what: str
    text: str = ""


class Face(Protocol):
    def begin(self, number: int, record: str) -> None: ...
    def ask(self, question: Question, number: int, of: int) -> None: ...
    def listen(self) -> Said | None: ...
    def hint(self, text: str | None) -> None: ...
    def mark(self, question: Question, found: Mark) -> None: ...
    def skipped(self, question: Question) -> None: ...
    def end(self, session: Session, broken: bool) -> None: ...


def run_session(session: Session, number: int, face: Face, record: str) -> int:
    """0 when it ends by itself or by "stop"; 130 when it is broken off.  Every answer is in the record before the next question."""
    try:
        face.begin(number, record)
        for n in range(1, number + 1):
            question = session.next()
            if question is None:
                break
            face.ask(question, n, number)
            if not _one(session, face):
                break
    except (KeyboardInterrupt, EOFError):
        face.end(session, broken=True)
        return 130
    face.end(session, broken=False)
    return 0


def _one(session: Session, face: Face) -> bool:
    """One question until it is marked or skipped; False when the learner stops."""
    while True:
        said = face.listen()
        if said is None:
            continue
        if said.what == STOP:
            return False
        if said.what == HINT:
            face.hint(session.hint())
        elif said.what == SKIP:
            session.skip()
            face.skipped(session.question)
            return True
        else:
            found = session.answer(said.text)
            face.mark(session.question, found)
            if found.result != UNREADABLE:
                return True


class TerminalFace:
    """80 columns, good without colour; an empty line asks again."""

    def begin(self, number: int, record: str) -> None:
        click.echo(wrapped(f"{number} question{'s' * (number != 1)}. Write the number with its unit. ? for a hint, skip, stop."))
        click.echo(wrapped(f"Your answers are kept on this machine only: {record}"))
        click.echo(wrapped(CAUTION))

    def ask(self, question: Question, number: int, of: int) -> None:
        about = question.kind if question.kind == "own" else f"{question.kind}, level {question.level}"
        click.echo(f"\n{heading(f'Question {number} of {of}')}  ({about})\n")
        click.echo("\n".join(question_lines(question)))

    def listen(self) -> Said | None:
        text = input("\n> ")
        if not sys.stdin.isatty():
            click.echo()  # the end of the line that a person would have typed
        word = text.strip().lower()
        if not word:
            return None
        return {"?": Said(HINT), "hint": Said(HINT), "skip": Said(SKIP), "stop": Said(STOP)}.get(word) or Said(ANSWER, text)

    def hint(self, text: str | None) -> None:
        click.echo(wrapped(text, "Hint: ") if text else "That is all there is. Write an answer, or skip.")

    def mark(self, question: Question, found: Mark) -> None:
        click.echo(f"\n{mark_text(question, found, caution=False)}")

    def skipped(self, question: Question) -> None:
        click.echo(f"\n{mark_text(question, None, caution=False)}")

    def end(self, session: Session, broken: bool) -> None:
        click.echo("\n" + heading("Broken off: what you answered is kept." if broken else "The end."))
        right = sum(answer.result == RIGHT for answer in session.given)
        click.echo(wrapped(f"{right} right of {len(session.given)}." if session.given else "No question was answered."))
        if session.given:
            click.echo(wrapped("How you do by kind and by slip: dosecheck drill record"))


class JsonFace:
    """One object a line, both ways."""

    def begin(self, number: int, record: str) -> None:
        self._say(questions=number, record=record, caution=CAUTION)

    def ask(self, question: Question, number: int, of: int) -> None:
        self._say(question=question.as_dict(), number=number, of=of)

    def listen(self) -> Said | None:
        line = sys.stdin.readline()
        if not line:
            raise EOFError
        try:
            told = json.loads(line)
        except (ValueError, RecursionError):
            told = None
        if isinstance(told, dict) and len(told) == 1:
            ((what, value),) = told.items()
            if what == ANSWER and isinstance(value, str):
                return Said(ANSWER, value)
            if what in (HINT, SKIP, STOP) and value is True:
                return Said(what)
        self._say(error='Write one of {"answer": "213 mg"}, {"hint": true}, {"skip": true}, {"stop": true} in a line.')
        return None

    def hint(self, text: str | None) -> None:
        self._say(hint=text)

    def mark(self, question: Question, found: Mark) -> None:
        self._say(mark=found.as_dict(), **({} if found.result == UNREADABLE else {"lesson": question.lesson()}))

    def skipped(self, question: Question) -> None:
        self._say(skipped=question.id, lesson=question.lesson())

    def end(self, session: Session, broken: bool) -> None:
        right = sum(answer.result == RIGHT for answer in session.given)
        self._say(end="broken off" if broken else "done", right=right, answered=len(session.given))

    def _say(self, **told: Any) -> None:
        click.echo(json.dumps(told, ensure_ascii=False))
