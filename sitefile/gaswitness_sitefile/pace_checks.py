"""Checks that what the pace speaks of is there to be asked for."""

from collections.abc import Iterator

from gaswitness_sitefile.document import Document
from gaswitness_sitefile.draft import Draft
from gaswitness_sitefile.fast_points import FAST_WORDS
from gaswitness_sitefile.problems import Problem, near_match


def pace_checks(draft: Draft, document: Document) -> Iterator[Problem]:
    """Words in `pace.fast.what` that mean nothing here, or stand there twice."""
    pace = document.data.get("pace")
    fast = pace.get("fast") if isinstance(pace, dict) else None
    what = fast.get("what") if isinstance(fast, dict) else None
    tagged = (draft.channels, draft.inputs, draft.outputs)
    tags = [tag for section in tagged for tag in section.names("tag")]
    tags_known = all(section.tags_are_all for section in tagged)
    seen: set[str] = set()
    for index, word in enumerate(what if isinstance(what, list) else []):
        place = document.place(("pace", "fast", "what", index))
        if not isinstance(word, str):
            continue
        if word in seen:
            yield Problem(place, f"pace.fast: {word!r} stands twice", "keep one of the two")
        elif word not in FAST_WORDS and word not in tags and tags_known:
            near = near_match(word, (*FAST_WORDS, *tags))
            ask = f"did you mean {near}? " if near else ""
            remedy = f"{ask}write any of {', '.join(FAST_WORDS)}, or tags of this panel"
            yield Problem(place, f"pace.fast: {word!r} is not known", remedy)
        seen.add(word)
