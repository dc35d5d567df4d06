"""The saved score of `tests/bench/mutants.py`: of the code that is shipped, and no explanation without its mutant."""

from __future__ import annotations

import mutants
from mutations import code_hash, mutants_of


def test_the_scores_of_the_mutants_are_of_the_judging_that_is_shipped() -> None:
    score = mutants.saved()
    assert score.keys() <= set(mutants.modules()), "a module that was moved takes its score and explanations along"
    stale = [path for path, one in score.items() if one["made_of"] != code_hash(path)]
    assert not stale, f"stale: run python tests/bench/mutants.py, which runs these modules only: {', '.join(stale)}"


def test_every_explained_mutant_is_one() -> None:
    explained = mutants.explained()
    assert explained.keys() <= set(mutants.modules())
    for path, why in explained.items():
        assert why.keys() <= {one.name for one in mutants_of(path)}, path
