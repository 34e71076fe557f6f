"""The table of acts: what a person can do, in one place. Help, documentation and cards are made from it. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Group = Literal["fish", "value", "container", "batch", "bench", "people"]


@dataclass(frozen=True, slots=True)
class Act:
    """One act. `usage` names its arguments (upper case: to be filled in; [..]: may be left out)."""

    name: str
    usage: str
    effect: str
    group: Group
    example: str
    two_steps: bool = False
    """Destructive: said once it asks, said again it happens."""
    undoable: bool = True


ACTS: dict[str, Act] = {
    act.name: act
    for act in (
        Act("batch", "open NAME [SPECIES] [KEY=VALUE …] | plan NAME [SPECIES] [KEY=VALUE …] | drop NAME | note NAME KEY=VALUE … | "
            "close REASON | reopen NAME REASON",
            "opens, closes or reopens a batch, without a place at every place; `plan` says what is to come, `drop` that it doesn't; "
            "closing reads out fish, incomplete ones, containers first and last, void fish, containers skipped and not seen",
            "batch", "batch open north-bay"),
        Act("at", "PLACE ACT …", "says at which place an act is meant, for the cards of a scanner or the keys of a pedal that several places share",
            "bench", "at board next", undoable=False),
        Act("practice", "on | off", "what is opened now is practice and never reaches default views", "batch", "practice on"),
        Act("next", "", "closes the fish in hand and opens the next; does nothing on a fish without readings", "fish", "next"),
        Act("again", "", "the waiting reading replaces the one before (both kept); without one, the last measurand is open again",
            "value", "again"),
        Act("stands", "[REASON]", "accepts what was questioned", "value", "stands measured-twice"),
        Act("as", "MEASURAND", "routes the next reading at this place; lapses at next", "value", "as gonad_mass left"),
        Act("value", "MEASURAND NUMBER UNIT [HOW]", "an entry by hand, marked with how: pad, tape, balance or transcribed",
            "value", "value whole_mass 412.5 g balance"),
        Act("missing", "MEASURAND|FIELD REASON",
            "there is no value, and why: not-attempted, not-found, could-not-tell, broken, mislaid, too-light, beyond",
            "value", "missing whole_mass mislaid"),
        Act("digit", "0 … 9 | point", "one digit of a number that the next act means by `typed` (`value whole_mass typed g`); forgotten after a minute",
            "value", "digit 4"),
        Act("code", "FIELD CODE [of NUMBER|of previous]", "a coded observation, also late", "fish", "code sex F"),
        Act("species", "NAME [of NUMBER|of previous]", "for the fish in hand, else for the next; unknown is valid", "fish",
            "species perch"),
        Act("confirm", "", "takes the expected container", "container", "confirm"),
        Act("skip", "[LABEL]", "leaves the expected container, or the one named, out for good", "container", "skip"),
        Act("void", "[of NUMBER|of previous]", "there never was such a fish", "fish", "void", two_steps=True),
        Act("lost", "[of NUMBER|of previous]", "the fish went overboard, also one that went on already; what was measured counts", "fish",
            "lost", two_steps=True),
        Act("recall", "NUMBER", "a closed fish is in hand again, for what is missing", "fish", "recall 118"),
        Act("swap", "", "exchanges the two values last filled", "value", "swap"),
        Act("tared", "", "what lies on the scale is the tray, not a fish", "value", "tared"),
        Act("over", "MEASURAND", "beyond the instrument: missing with that reason until a value or parts gives it", "value",
            "over total_length"),
        Act("parts", "MEASURAND N", "the next N readings are pieces of one value and are summed", "value", "parts whole_mass 2"),
        Act("pool", "N", "the next mass is for N animals; never split among them", "batch", "pool 25"),
        Act("count", "N", "so many animals were counted, not measured", "batch", "count 140"),
        Act("structure", "KIND TAKEN [left|right|both] [CONDITION]", "what was got of a structure", "container",
            "structure otolith 2 both whole"),
        Act("move", "OLD NEW", "a torn or wrong container: what it held is in another", "container", "move K-00013 K-00021"),
        Act("found", "LABEL empty [REASON] | LABEL full [of NUMBER]",
            "a container was looked into later: nothing is in it, or something is: of the fish it has, of the one named, or of none known", "container", "found K-00013 empty mislaid"),
        Act("same-as", "NUMBER", "the fish in hand has a number already; it ends as that one", "fish", "same-as 118", two_steps=True),
        Act("split", "", "two fish were on one number: what was measured again is the second's, which gets its own", "fish",
            "split", two_steps=True),
        Act("slide", "MEASURAND FROM TO +1|-1", "moves one measurand of a range of fish to the neighbour (a mend)", "value",
            "slide whole_mass 118 131 +1", two_steps=True),
        Act("mend", "value NUMBER MEASURAND VALUE UNIT REASON | missing NUMBER MEASURAND WHY REASON | swap NUMBER NUMBER MEASURAND REASON | "
            "fields NUMBER MEASURAND MEASURAND REASON | unit FROM TO MEASURAND UNIT REASON | species NUMBER NAME REASON, each [by NAME] [see EVIDENCE]",
            "corrects later: a value, one that isn't any, the values of two fish, two values of one, the unit of a range, a species", "value",
            "mend value 118 whole_mass 312 g misread by ida see photo 12"),
        Act("leaves", "", "takes the fish out of the row: it is closed where it is", "fish", "leaves"),
        Act("park", "", "sets the fish apart; it comes back later", "fish", "park"),
        Act("back", "[NUMBER]", "what was set apart, last or by number, is in hand again", "fish", "back"),
        Act("pan", "NAME", "which of the declared pans stands on the scale", "bench", "pan blue"),
        Act("knock", "", "the scale was knocked: masses since the last good zero are suspect, a check is due", "bench", "knock"),
        Act("verify", "NUMBER UNIT",
            "the next reading of that quantity is of a known length or mass: it shows whether the instrument is right; forgotten after two minutes",
            "bench", "verify 300 mm"),
        Act("printed", "FIRST LAST [again]",
            "labels were printed (`thwart labels` says so); what was printed before is refused unless it says `again`",
            "container", "printed K-00013 K-00368", undoable=False),
        Act("pause", "", "readings are loose until resume (hosing, breaks)", "bench", "pause"),
        Act("hosed", "", "the last touches that came faster than a hand can measure were water: what they gave is taken back at once", "bench",
            "hosed"),
        Act("resume", "", "ends the pause", "bench", "resume"),
        Act("measurer", "NAME", "who measures at this place", "people", "measurer ida"),
        Act("recorder", "NAME", "who records at this place", "people", "recorder ben"),
        Act("stager", "NAME", "who tells sex and stage at this place", "people", "stager ida"),
        Act("undo", "[undo]", "takes back the last act or reading at this place; `undo undo` takes back the last undo", "bench",
            "undo", undoable=False),
    )
}  # fmt: skip


def table() -> str:
    """The acts as a Markdown table, for the documentation."""
    lines = ["| act | arguments | effect | steps | undo | example |", "| --- | --- | --- | --- | --- | --- |"]
    for act in ACTS.values():
        usage = f"`{act.usage}`".replace("|", "\\|") if act.usage else ""
        effect = act.effect.replace("|", "\\|")
        steps, undo = "two" if act.two_steps else "one", "yes" if act.undoable else "no"
        lines.append(f"| `{act.name}` | {usage} | {effect} | {steps} | {undo} | `{act.example}` |")
    return "\n".join(lines)


#: Why a value is missing. A closed list.
MISSING_REASONS = ("not-attempted", "not-found", "could-not-tell", "broken", "mislaid", "too-light", "beyond")
#: Why something is mended. A closed list.
MEND_REASONS = (
    "misread", "misheard", "mistyped", "wrong-fish", "exchanged", "slipped", "wrong-unit", "wrong-species", "not-tared",
    "measured-again", "other",
)  # fmt: skip
#: How a value came that no instrument sent. A closed list.
HAND = ("pad", "tape", "balance", "transcribed")
