"""English for every code the bench uses. One sentence a code; the ledger stores it, the feed carries it. Pure.

`{names}` are the arguments of the code. A language file of another tongue has the same codes.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

#: Questions and notes: cause code → words.
QUESTIONS: dict[str, str] = {
    "again-or-next": "{number} has {measurand} {old} and waits for the next place, now {value} {unit}: again, or next?",
    "class-beyond": "{measurand} {value} {unit} is impossible for {species} ({low} to {high}): `stands` counts it all the same",
    "overtaken": "{number} came before {other}, which still waits",
    "split": "two fish were on {number}, the second is {other}: both are suspect until their containers are seen",
    "pan-changed": "{instrument}: the pan is not {pan} any more (zero moved {by} g)",
    "again-or-new": "{number} has {measurand} {old} already, now {value} {unit}: again or new?",
    "load-at-start": "{value} {unit} lay on {instrument} before anyone saw it arrive: `stands` takes it for {number}, or lift it and lay it on again",
    "changed-on-the-pan": "{number}: changed on the pan {old} → {value} {unit}: `again` takes the second",
    "impossible": "{number}: {measurand} {value} {unit} is impossible for {species} ({low} to {high}): measure again",
    "unusual": "{number}: {measurand} {value} {unit} is unusual for {species} ({low} to {high}): look again, `stands` if it is so",
    "order": "{number}: {measurand} {value} {unit} is above {other} {other_value} {unit}: `swap` exchanges them, `again` measures again",
    "beyond-instrument": "{instrument} shows {condition}: beyond the instrument; give it with `value` or `missing {measurand} beyond`",
    "moving": "{instrument} printed while it moved ({value} {unit}): print again when it is still",
    "zero-moved": "{instrument}: zero moved {by} g; masses since the last good zero are suspect",
    "label-order": "container {label} after {before}: {between} left out, or is it a neighbour's?",
    "label-behind": "container {label} comes before {before}: is it the neighbour's?",
    "incomplete": "{number} closed without {wanted}",
    "no-species": "{number} closed without a species: `species NAME of {number}`",
    "left-behind": "{value} {unit} from {instrument} was never given to a fish",
    "loose": "{value} {unit} from {instrument}: {why}",
    "taken-back": "{value} {unit} from {instrument} is loose since {number} was taken back",
    "same-fish": "{number}, {taken}; {wanted} wanted: same fish?",
    "same-value": "{instrument} says {value} {unit} again, and can't show whether it was cleared: again or new?",
    "not-positive": "{number}: {measurand} {value} {unit} can't be a fish: measure again, or `tared`",
    "ratio": "{number}: {value} {unit} doesn't go with {other} {other_value} ({low} to {high}): `again` measures {other} anew, `stands` takes it as {measurand}",
    "hosing": "{touches} touches within two seconds: `pause`?",
    "said-otherwise": "{number}: {field} was {before}, is {now} now: is it so, or was the next fish meant?",
    "unscanned": "{number} was taken at {place} without a scan of its tag {tag}",
    "orphan": "container {label} holds something, and belongs to no fish: `found {label} full of NUMBER` gives it to one",
    "surplus": "{number}: {measurand} isn't taken of {species}",
}  # fmt: skip

#: Refusals: why an input changed nothing → words.
REFUSALS: dict[str, str] = {
    "not-parked": "{number} isn't set apart",
    "hand-full": "{number} is in hand at {place}: finish it first",
    "has-tag": "{number} bears tag {tag} already",
    "tag-elsewhere": "tag {tag} is on fish {number}, which isn't waiting here",
    "label-orphan": "container {label} belongs to no fish: `found {label} full of NUMBER` gives it to one, without a number it is kept as an orphan",
    "no-room": "{number} can't go on: no room before {place}",
    "no-readings": "{act}: {number} has no readings yet",
    "not-in-a-row": "{act}: this place stands in no row",
    "no-fish-in-a-tally": "{act}: a tally has no fish",
    "unknown-structure": "{act}: there is no structure {name!r}; {near}",
    "unknown-pan": "pan: there is no pan {name!r}; {near}",
    "too-many": "{act}: {number} is beyond the most, {most}",
    "unknown-container": "{act}: no fish has container {label!r}",
    "container-taken": "{act}: container {label} can't be had: {whose}",
    "nothing-to-mend": "mend: {number} has no {measurand}",
    "nothing-to-slide": "slide: from {first} to {last} there is nothing of {measurand}",
    "same-fish-twice": "same-as: {number} is the fish in hand",
    "batch-key": "batch: there is no {name!r}; {near}",
    "unknown-act": "there is no act {act!r}; {near}",
    "arguments": "{act}: expected `{act} {usage}`",
    "which-place": "{act}: say at which place ({places})",
    "unknown-place": "there is no place {place!r}; places: {places}",
    "no-batch": "no batch is open: `batch open NAME` first",
    "batch-open": "batch {batch} is open; `batch close REASON` first",
    "batch-begun": "batch {batch} was opened already: `batch note {batch} KEY=VALUE` says more of it",
    "batch-planned": "batch {batch} is only planned: `batch open {batch}`",
    "batch-circle": "batch {batch} can't be a part of {parent}: that is a part of it, or it itself",
    "practice-other": "batch {batch} {what}: `practice {turn}` first, or take another name",
    "batch-used": "batch {batch} was there already; `batch reopen {batch} REASON` opens it again",
    "unknown-batch": "there is no batch {batch!r}",
    "nothing-in-hand": "{act}: no fish in hand at {place}",
    "nothing-waiting": "{act}: nothing waits and nothing was measured yet",
    "nothing-questioned": "stands: nothing is questioned at {place}",
    "nothing-to-undo": "undo: nothing to take back here; what is older than the fish before is a mend",
    "nothing-undone": "undo undo: nothing was taken back just now",
    "unknown-measurand": "{act}: there is no measurand {name!r}; {near}",
    "unknown-field": "{act}: there is no measurand or field {name!r}; {near}",
    "unknown-code": "{field}: there is no code {code!r}; {near}",
    "unknown-species": "there is no species {name!r} in this protocol; {near}",
    "unknown-reason": "{act}: there is no reason {reason!r}; {near}",
    "unknown-unit": "{act}: {unit!r} isn't a unit of {measurand}",
    "not-a-number": "{act}: {text!r} isn't a number",
    "not-the-division": "{act}: {text} is finer than the division {division} of what measured it",
    "unknown-fish": "there is no fish {number}",
    "fish-not-closed": "fish {number} isn't closed",
    "in-hand-elsewhere": "{act}: fish {number} is in hand at {place}: say it there",
    "void-fish": "fish {number} is void: there never was such a fish",
    "no-containers": "{act}: this protocol has no containers in a known series",
    "series-at-end": "{act}: the series of containers is at its end ({label})",
    "has-container": "{number} has its container already ({label})",
    "label-check": "scan {text!r}: its check character is wrong; scan it again or type it",
    "card-check": "card {text!r}: its check character is wrong; scan it again",
    "card-form": "card {text!r} isn't a card of this program",
    "undo-elsewhere": "undo: {number} was worked on elsewhere since; `void` it or mend it",
    "label-used": "container {label} belongs to fish {number}; scan the right one, or `recall {number}`",
    "label-out-of-series": "container {label} isn't in the series {first} to {last}",
    "label-skipped": "container {label} was left out for good",
    "label-torn": "container {label} is torn or wrong: what it held is in another",
    "not-known": "scan {text!r} is neither an act nor a label of this protocol",
    "unknown-key": "{instrument}: key {text!r} has no meaning on this bench",
    "dead-time": "{instrument}: pressed again within {ms} ms",
    "paused": "paused: `resume` first",
    "nothing-to-swap": "swap: needs two values of one quantity, last filled here",
    "nothing-on-it": "tared: nothing lies on a scale of {place}",
    "numbers-used-up": "the block of numbers {first} to {last} is used up; widen it in the protocol",
    "practice-open": "practice changes only between batches: close {batch} first",
    "already": "{act}: so it is already",
}  # fmt: skip

#: Why a reading is loose, stale, doubled or refused → words.
WHY: dict[str, str] = {
    "no-batch": "no batch is open",
    "no-fish": "no fish was in hand",
    "paused": "paused",
    "not-wanted": "no measurand of this protocol takes it",
    "out-of-range": "beyond every measurand it could be",
    "which-place": "several places could mean it",
    "bounce": "the same touch again",
    "same-load": "the load settled again",
    "load-before": "it lay there for {number} already",
    "fish-before": "it arrived for {number}, which has one already",
    "tare": "a tare",
    "moving": "not settled",
    "beyond": "beyond the instrument",
    "error": "the instrument reports an error",
    "fault": "a fault of this program",
    "left-behind": "never given to a fish",
    "touched-again": "touched again, and counted then",
    "taken-back": "taken back",
    "void": "its fish is void",
}

#: Acts said once that want saying again → words.
ARMED = "{act} {what}: say it again to do it"


#: What a person or a scanner said is shown up to so many characters.
_SHOWN = 60


def shown(text: object) -> str:
    """A text from outside as it is shown: cut where it is long."""
    whole = str(text)
    return whole if len(whole) <= _SHOWN else whole[:_SHOWN] + "…"


def say(table: Mapping[str, str], code: str, args: Mapping[str, Any]) -> str:
    """The words of a code. Raises KeyError for an unknown code or a missing argument: a fault of the program."""
    return table[code].format_map(args)
