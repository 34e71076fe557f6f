"""What is said: every decision has words or is silent on purpose; nothing is said of what isn't committed."""

from __future__ import annotations

from tests.benchkit import ROW, SOLO, TALLY, Play
from thwart.announce.narrate import narrate
from thwart.bench.effects import EFFECTS
from thwart.entries import Entry

#: Decisions told by another one that goes with them, or that only keep books.
SERVES: dict[str, tuple[str, ...]] = {"board": ("board",), "scale": ("scale",), "hand-scale": ()}

SILENT = {
    "called-back", "in-step",  # what called it back says so; that it was answered
    "outcome", "ready", "wanted", "withdrawn", "placed", "load", "loaded", "zeroed", "check-due", "key", "question", "suspect", "judged", "uncounted",
    "armed", "lapsed", "confirmed", "unopened", "container-void", "set-aside", "printed",
    "learned", "taught", "relearned",
}  # fmt: skip


def said(play: Play) -> list[str]:
    out: list[str] = []
    group: list[Entry] = []
    for entry in [*play.entries, None]:
        if (entry is None or entry.input_seq is None) and group:
            out += [s.text for s in narrate(group[0], group[1:])]
            group = []
        if entry is not None:
            group.append(entry)
    return out


def spoken_kinds(play: Play) -> set[str]:
    kinds = set()
    for entry in play.entries:
        if entry.input_seq is not None:
            source = next(e for e in play.entries if e.seq == entry.input_seq)
            if any(s.seq == entry.seq for s in narrate(source, [entry])):
                kinds.add(entry.kind)
    return kinds


def a_full_day() -> list[Play]:
    solo = Play(SOLO + "\n[structures.otolith]\n")
    for words in ("species perch", "code sex F", "structure otolith 2 both", "count 5", "pool 3"):
        solo.act(words)
    solo.weigh(310)
    solo.touch(700)
    solo.act("stands")
    solo.act("missing whole_mass mislaid")
    solo.act("undo")
    solo.weigh(100)
    solo.label(1)
    solo.act("recall 1")
    solo.act("missing whole_mass mislaid")
    solo.act("next")
    (old,) = solo.numbered(1).containers
    new = solo.setup.protocol.containers.template.moved(old, 4)  # type: ignore[union-attr]
    solo.act(f"move {old} {new}")
    solo.act("skip")
    solo.act(f"found {new} empty")
    solo.act("batch plan cove")
    solo.act("batch drop cove")
    solo.act("pause")
    solo.act("dance")
    solo.act("resume")
    solo.lay()
    solo.act("next")
    solo.settle(90)
    solo.lift()
    solo.act("verify 300 mm")
    solo.touch(301)
    solo.act("verify 300 mm")
    solo.touch(303)
    solo.act("batch note bay kind=haul")
    solo.act("batch close done")
    solo.act("practice on")
    row = Play(
        ROW + '\n[tags]\nlabel = "T##"\n',
        places=("board", "scale", "knife"),
        serves=SERVES,
    )
    row.put("scan", instrument="scanner", text="T01", place="board")
    row.touch(200)
    row.lay()
    row.act("park", place="scale")
    row.act("back", place="knife")
    late = Play(SOLO)
    late.touch(200)
    late.lay()
    late.label(1)
    late.settle(90)
    tally = Play(TALLY)
    for mm in (212, 87, 455):
        tally.touch(mm, after_ms=400)
    tally.act("hosed")
    return [solo, row, late, tally]


def test_every_decision_is_said_or_silent_on_purpose() -> None:
    spoken: set[str] = set()
    for play in a_full_day():
        spoken |= spoken_kinds(play)
        assert all(text and "{" not in text for text in said(play))
    assert set(EFFECTS) - spoken - SILENT == set()
    assert not SILENT - set(EFFECTS)


def test_what_only_confirms_is_no_reason_to_look_up() -> None:
    play = Play(TALLY)
    sounds = {}
    for words in ("species perch", "pause", "resume"):
        decisions = play.act(words)
        sounds[words] = [s.sound for s in narrate(play.entries[-len(decisions) - 1], decisions)]
    assert sounds == {"species perch": ["taken"], "pause": ["look"], "resume": ["taken"]}
