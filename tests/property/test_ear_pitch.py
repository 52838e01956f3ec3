"""A stretch that reaches beyond a recording is heard as if silence lay there."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from undersong.ear.pitch import _pieces

FAR = 300


@given(
    count=st.integers(0, 200),
    first=st.lists(st.integers(-FAR, FAR), min_size=1, max_size=6),
    size=st.integers(1, 100),
    seed=st.integers(0, 9),
)
def test_beyond_either_end_there_is_silence(
    count: int, first: list[int], size: int, seed: int
) -> None:
    sound = np.random.default_rng(seed).normal(0, 0.1, count).astype(np.float32)
    beside = np.pad(sound, FAR + 200)
    asked = np.array([beside[at + FAR + 200 : at + FAR + 200 + size] for at in first])
    assert np.array_equal(_pieces(sound, np.array(first), size), asked)
