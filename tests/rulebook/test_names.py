"""Published names carry their paper."""

from __future__ import annotations

import pytest

from tests.shipped import book

# Names of the literature and the paper to which it credits them; the pages of Staheli, of Forriol
# and Pascual, of Williams and McClay, and the book of Root are from memory.
NAMES = {
    "foot posture index": "Clin Biomech 2006;21:89-98",
    "arch height ratio": "Phys Ther 2000;80:864-871",
    "truncated foot length": "Phys Ther 2000;80:864-871",
    "arch rigidity index": "Temple University",
    "arch index": "J Biomech 1987;20:547-551",
    "navicular drop": "Orthop Clin North Am 1982;13:541-558",
    "Chippaux-Smirak index": "Foot Ankle 1990;11:101-104",
    "Staheli index": "J Bone Joint Surg Am 1987;69:426-428",
    "centre-of-pressure excursion index": "J Am Podiatr Med Assoc 1996;86:16-23",
    "contact, midstance and propulsion": "Normal and Abnormal Function of the Foot",
    "patterns of rearfoot motion": "J Am Podiatr Med Assoc 2009;99:399-405",
}


@pytest.mark.parametrize("name", NAMES)
def test_a_published_name_carries_its_paper(name: str) -> None:
    """Each name is defined by exactly one source, which is the paper it comes from."""
    cites = [one.cite for one in book().sources.values() if name in one.defines]
    assert len(cites) == 1
    assert NAMES[name] in cites[0]
    paper = book().paper(name)
    assert paper is not None
    assert paper.cite == cites[0]


def test_a_name_of_nobody_has_no_paper() -> None:
    """What no source defines is not credited to one."""
    assert book().paper("foot pleasantness index") is None


def test_the_ratio_of_heights_is_never_called_stiffness() -> None:
    """Stiffness is load over change of height; the ratio is the arch rigidity index."""
    said = [one.title + one.plain for one in book().measures.values()]
    said += [one.title for one in (*book().limits.values(), *book().axes.values())]
    assert [words for words in said if "stiffness" in words] == []
