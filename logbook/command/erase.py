"""`logbook erase`: one person's words, numbers and sessions go; the log stays and verifies as before."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from logbook.command import show
from logbook.command.options import Db, Json, opened, person_of, register_of
from logbook.command.refusals import Refusal

if TYPE_CHECKING:
    from logbook.bootstrap import Program
    from logbook.domain.people import Person
    from logbook.domain.register import Register
    from logbook.intake.erasing import Survey

UNTIDY = (
    " A copy may still lie in the database's files, because somebody was reading, or the disk had no room for a second "
    "copy: run `logbook erase --again` when it is quiet."
)


def add(app: typer.Typer) -> None:
    """Hang this family's commands on the app."""
    app.command("erase")(erase)


def erase(
    who: Annotated[
        str | None, typer.Argument(metavar="[KEY]", help="The person: key in the fleet file, id, number or address.")
    ] = None,
    ground: Annotated[str, typer.Option("--ground", metavar="WORDS", help="Why; it stays in the log. No names.")] = "",
    by: Annotated[str, typer.Option("--by", metavar="KEY", help="The owner who has it done.")] = "",
    yes: Annotated[bool, typer.Option("--yes", help="Do it without asking, having looked before.")] = False,
    again: Annotated[bool, typer.Option("--again", help="Erase once more whom a backup brought back.")] = False,
    listed: Annotated[
        Path | None, typer.Option("--list", metavar="FILE", help="With --again: the list; else beside the database.")
    ] = None,
    db: Db = None,
    json: Json = False,
) -> None:
    """Erase a person: names, numbers, remarks, photographs, texts, PIN, passkeys, sessions and messages go.

    What was done and when stays, by a name that leads to nobody. Shows first what goes, and asks.
    """
    with opened(db) as program:
        if again:
            _again(program, listed, json)
            return
        if who is None or not ground or not by:
            raise Refusal("Say whom, why and who has it done: logbook erase KEY --ground WORDS --by KEY. Nothing went.")
        _one(program, who, ground, by, yes=yes, json=json)


def _one(program: Program, who: str, ground: str, by: str, *, yes: bool, json: bool) -> None:
    from logbook.intake import By, erasing

    register = register_of(program)
    owner = person_of(register, by)
    person = anyone(register, who)
    with program.store.read() as connection:
        found = erasing.survey(program.intake, connection, person.uuid)
    if not found.anything:
        raise Refusal("There is nothing of this person here any more. Nothing was changed.")
    if not yes:
        for line in lines(found):
            typer.echo(line, err=True)
        if not typer.confirm("It cannot be brought back. Erase all of this?", err=True):
            raise Refusal("Nothing was erased.")
    intake = program.intake
    done = erasing.erase(intake, person.uuid, ground, By(owner.uuid, owner.role, "command"), intake.new_id())
    if json:
        show.as_json(
            {"person": person.uuid, "items": found.items, "texts": found.texts, "messages": found.messages,
             "thorough": done is None or done.thorough}
        )  # fmt: skip
        return
    tail = "" if done is None or done.thorough else UNTIDY
    show.line(f"Erased: {found.items} private words. The log verifies as before.{tail}")


def _again(program: Program, listed: Path | None, json: bool) -> None:
    from logbook.intake import erasing
    from logbook.store import erased_list, erasure

    file = listed or erased_list.file_of(program.store)
    if listed is not None and not listed.exists():
        raise Refusal(f"There is no list {str(listed)!r}. Nothing was changed.")
    try:
        found = erased_list.read(file)
        done = erasing.again(program.intake, found)
        erasing.keep_list(program.intake)
    except (OSError, ValueError) as why:
        raise Refusal(f"The list of erasures cannot be used: {why}. Mend or remove it, and run this again.") from None
    thorough = erasure.compact(program.store)
    if json:
        show.as_json({"listed": len(found), "erased": done, "thorough": thorough})
        return
    show.line(f"{len(done)} of {len(found)} people on the list were in this database again, and are erased.")
    if not thorough:
        raise Refusal(UNTIDY.strip())


def anyone(register: Register, who: str) -> Person:
    """The person meant, members or not. Raises Refusal."""
    known = register.person_by_key(who) or register.people.get(who)
    if known is None:
        known = register.person_by_phone(who) or register.person_by_email(who)
    if known is None:
        raise Refusal(f"Nobody in this fleet is {who!r}. Nothing was changed; see: logbook fleet show")
    return known


def lines(found: Survey) -> list[str]:
    """What goes, for whoever is asked at a terminal."""
    names = ("names", "remarks", "photographs", "texts", "messages", "sessions", "links", "pins", "passkeys")
    said = ["This goes:"]
    said += [f"  {getattr(found, name):>5}  {name}" for name in names if getattr(found, name)]
    said.append(f"These stay: {found.reports} entries, by a cleaner whom nobody can name any more.")
    others = len(found.named_by_others)
    if others:
        said.append(f"{others} remarks of others hold the name, and stay: look at them.")
    return said
