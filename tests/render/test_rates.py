"""The evidence of a removal rate: every size and every state of knowledge, nothing clipped."""

import numpy as np
import pytest

from app.core.plan.removal import RemovalPair, learn_rate, make_kind
from app.render.rates import RatePicture, compose_rate, draw_rate
from app.render.scales import SIZES_MM
from tests.render.sheets import composed, faults_of_words, words

KIND = make_kind("tilted", "wet paper", "600", "hard_rubber")


def pairs(count, seed=5, job=True):
    chance = np.random.default_rng(seed)
    return [
        RemovalPair(KIND, float(n), float(n * 0.002 + 0.004 * chance.standard_normal()),
                    str(1000 + at) if job else "")
        for at, n in enumerate(chance.integers(3, 30, count))
    ]  # fmt: skip


RATES = {
    "none": learn_rate(KIND, []),
    "one": learn_rate(KIND, pairs(1)),
    "three": learn_rate(KIND, pairs(3)),
    "a few": learn_rate(KIND, pairs(9)),
    "many": learn_rate(KIND, pairs(120)),
    "no removal": learn_rate(KIND, [RemovalPair(KIND, n, -0.004, "7") for n in (5.0, 8.0, 9.0)]),
}


def sheet_of(case, size="card"):
    picture = RatePicture(RATES[case], size=size)
    return composed(lambda sheet: compose_rate(sheet, picture), *SIZES_MM[size])


@pytest.mark.parametrize("size", ["card", "small"])
@pytest.mark.parametrize("case", ["none", "one", "three", "a few", "no removal"])
def test_no_word_is_clipped_or_written_over_another(case, size):
    assert faults_of_words(sheet_of(case, size)) == []


def test_of_many_passes_only_the_last_are_named():
    jobs = {text.get_text() for text, *_ in words(sheet_of("many"))}
    assert "1119" in jobs
    assert "1000" not in jobs


def test_without_a_rate_the_picture_says_so_and_draws_no_line():
    texts = {text.get_text() for text, *_ in words(sheet_of("one"))}
    assert "No line yet: too few passes to tell." in texts
    assert draw_rate(RatePicture(RATES["one"])) != draw_rate(RatePicture(RATES["three"]))
