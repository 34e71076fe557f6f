"""Every word that the pages show is in the language's file, or the bench's own: each text of the file is put between marks,
the pages are walked through, and what stands outside of marks must be numbers, units or names of the bench."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from tests.page.kit import Bench, Tab
from thwart.languages import language

#: Everything that is seen or read out: texts, names for screen readers, titles of pictures and of the page.
SEEN = """() => {
  const found = [document.title], parted = new Set();
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const holder = walk.currentNode.parentElement;
    if (holder.closest("script, .word-of-act")) continue;
    if (holder.querySelector(":scope > .word-of-act")) parted.add(holder);
    else found.push(walk.currentNode.textContent);
  }
  // One text, with the words of acts in it.
  for (const holder of parted) found.push([...holder.childNodes].map((e) => e.nodeType === 3 ? e.textContent : " ").join(""));
  for (const e of document.querySelectorAll("[aria-label], [placeholder], [title], [alt]")) {
    for (const name of ["aria-label", "placeholder", "title", "alt"]) if (e.hasAttribute(name)) found.push(e.getAttribute(name));
  }
  return found;
}"""
MARKED = re.compile(r"⟦[^⟦⟧]*⟧")
#: Labels, codes, numbers and times, units, marks and signs.
FREE = re.compile(r"L26-\d+-\d|\d{4}-\d\d-\d\d|\b(?:mm|cm|g|kg|F|M|U)\b|[\W\d_]+")


@pytest.fixture
def marked() -> Iterator[None]:
    """The language of the bench with each of its texts between marks."""
    tables = language("de").tables
    before = {name: dict(words) for name, words in tables.items()}
    for name, words in tables.items():
        if name != "language":
            words.update({code: f"⟦{text}⟧" for code, text in words.items()})  # type: ignore[attr-defined]
    yield
    for name, words in before.items():
        tables[name].update(words)  # type: ignore[attr-defined]


def outside(page: Any, own: set[str]) -> set[str]:
    """Words that are seen and neither the language's nor the bench's."""
    found = set()
    for text in page.evaluate(SEEN):
        rest = text
        while MARKED.search(rest):
            rest = MARKED.sub(" ", rest)
        # A text may have been cut in two where it is shown: then a mark stands alone at an end.
        rest = re.sub(r"⟦[^⟦⟧]*$|^[^⟦⟧]*⟧", " ", rest)
        for name in sorted(own, key=len, reverse=True):
            rest = re.sub(rf"(?<!\w){re.escape(name)}(?!\w)", " ", rest)
        found |= {word for word in FREE.sub(" ", rest).split() if word}
    return found


def test_no_word_of_the_pages_is_outside_the_language_file(
    marked: None, bench_of: Callable[..., Bench], tab_of: Callable[..., Tab]
) -> None:
    bench = bench_of("solo", bench='language = "de"\npeople = ["ida"]\n')
    own = {"lake", "north-bay", "ida", "board", "scale", "scanner", "table", "unplugged"}
    protocol = bench.protocol
    own |= {s.title for s in protocol.species.values()} | {*protocol.species} | {*protocol.codes}
    own |= {word for c in protocol.codes.values() for word in c.values.values()}
    tab = tab_of(bench)
    page = tab.page

    def check(where: str) -> None:
        assert outside(page, own) == set(), where

    check("before a batch")
    bench.touch(190)
    tab.shows(".hollow .digits", "190")
    check("loose")
    bench.rig.act("batch open north-bay perch")
    bench.touch(231)
    tab.shows('[data-cell="last"] .digits', "231")
    bench.rig.weigh(139)
    tab.shows('[data-cell="last"] .digits', "139")
    bench.envelope()
    tab.shows('[data-cell="hand"] .digits', "2")
    bench.touch(231)
    tab.shows('[data-cell="last"] .digits', "231")
    bench.rig.weigh(1390)
    page.wait_for_selector(".question")
    check("asked")
    for sheet in ("tray", "fish", "cloud", "instruments", "settings"):
        tab.press("look")
        check(sheet)
        if sheet == "fish":
            tab.press("fish 1")
            check("one fish")
            tab.back()
    tab.press("acts")
    check("acts")
    keys = [k.get_attribute("data-key") for k in page.locator("#sheet .key").all()]
    assert len(keys) >= 12
    for name in keys:
        if name == "undo undo":
            continue
        tab.press(str(name))
        check(str(name))
        for inner in ("measurand whole_mass", "missing whole_mass", "parts whole_mass", "pool", "count"):
            if (
                name in ("by hand", "missing", "beyond", "scale")
                and page.locator(f'#sheet [data-key="{inner}"]').count()
            ):
                tab.press(inner)
                check(f"{name}, {inner}")
                tab.back()
        tab.back()
    tab.press("this fish")
    tab.press("void")
    page.wait_for_selector(".armed")
    check("armed")
    bench.scan("L26-0001-9")
    tab.shows("#said", "L26-0001-9")
    page.evaluate("fetch('/api/act', {method: 'POST', headers: {'content-type': 'application/json'}, body: '{}'})")
    check("refused")
    tab.faults.clear()  # the browser counts the refused act

    lead = tab_of(bench, lead=True)
    page = lead.page
    page.wait_for_selector("body[data-fish]")
    deeds = page.eval_on_selector_all("#mend-what option", "options => options.map(o => o.value)")
    assert len(deeds) == 13
    for deed in deeds:
        page.select_option("#mend-what", deed)
        check(f"lead, {deed}")
    stranger = tab_of(bench, lead=True, unknown=True)
    page = stranger.page
    page.wait_for_selector("h1")
    check("a stranger")
    page.fill("#code", "123456")
    page.click("button")
    stranger.shows("#told", "fünf Minuten")
    check("a stranger with a wrong code")
    assert "⟦" in page.content().split("<noscript>")[1], "what a browser without scripts shows is the language's too"
    stranger.faults.clear()  # the browser counts the refused code


def test_no_word_stands_in_the_scripts() -> None:
    """What a text is made of in the scripts are codes for the language's tables, not sentences."""
    from importlib import resources

    found = []
    for file in resources.files("thwart.announce").joinpath("page").iterdir():
        if file.name.endswith((".js", ".html")):
            code = re.sub(r"(?m)^\s*//.*$|/\*.*?\*/|\s//[^\n]*$", "", file.read_text(), flags=re.S | re.M)
            for text in re.findall(r'"((?:[^"\\\n]|\\.)*)"|`((?:[^`\\]|\\.)*)`', code):
                words = re.sub(r"\$\{.*?\}", "", "".join(text))
                if re.search(r"[A-Za-z]{3,} [a-z]{2,} [a-z]{2,}", words) and "Liberation" not in words:
                    found.append((file.name, words))
    assert found == []
