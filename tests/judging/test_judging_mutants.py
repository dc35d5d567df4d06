"""The saved score of `tests/bench/mutants.py`: of the code that is shipped, without holes, no explanation unused."""

from __future__ import annotations

import mutants
from mutations import code_hash, mutants_of


def test_the_score_of_the_mutants_is_of_the_judging_that_is_shipped() -> None:
    score = mutants.saved()
    stale = [path for path in mutants.modules() if score.get(path, {}).get("made_of") != code_hash(path)]
    assert not stale, f"stale: run python tests/bench/mutants.py, which runs these modules only: {', '.join(stale)}"
    assert not [hole for one in score.values() for hole in one["holes"]], "python tests/bench/mutants.py --holes"


def test_every_explained_mutant_is_one() -> None:
    explained = mutants.explained()
    assert explained.keys() <= set(mutants.modules())
    for path, why in explained.items():
        assert why.keys() <= {one.name for one in mutants_of(path)}, path
