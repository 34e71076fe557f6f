"""Whatever is said, mended and undone, each group has learned what its fish teach now, and the ledger says the same again."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.benchkit import check, folded, state_of
from tests.unit.bench.test_groups import Sexed

NUMBER = st.integers(1, 28)
STEPS = st.one_of(
    st.tuples(st.just("fish"), st.sampled_from(["F", "M", ""]), st.integers(90, 400), st.booleans()),
    st.tuples(st.just("act"), st.sampled_from(["F", "M"]).flatmap(lambda s: NUMBER.map(lambda n: f"code sex {s} of {n}"))),
    st.tuples(st.just("act"), st.sampled_from(["perch", "pike"]).flatmap(lambda s: NUMBER.map(lambda n: f"species {s} of {n}"))),
    st.tuples(st.just("act"), st.sampled_from(["undo", "undo undo", "undo", "recall 3", "void", "next", "code sex F", "missing sex could-not-tell", "species pike"])),
)  # fmt: skip


@settings(max_examples=12)
@given(st.integers(19, 26), st.lists(STEPS, min_size=1, max_size=14))
def test_groups_hold_what_their_fish_teach(before: int, steps: list[tuple[str, ...]]) -> None:
    play = Sexed(forget_after=8)
    for i in range(before):
        play.one("FFM"[i % 3], 150 + 7 * i, 1.0 + (i % 5) / 40)
    for kind, *rest in steps:
        if kind == "fish":
            sex, mm, late = rest
            play.one(str(sex), int(mm), 1.0, late=bool(late))
        else:
            play.act(rest[0])
        check(play)
    play.same_as_the_checks_alone()
    assert state_of(folded(play)) == state_of(play.bench)
