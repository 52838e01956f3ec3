"""Players already recorded, kept while several tracks of one song are mixed.

The usual tracks of a song differ in their click and in who is left out, not in what each player
plays: each is played once and mixed many times. Only so many are kept at a time.
"""

from __future__ import annotations

import threading
from collections import OrderedDict, defaultdict
from collections.abc import Callable, Hashable

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]

KEPT_BYTES = 300_000_000


class Layers:
    """The last few layers, by what they were made from; for any number of threads.

    Layers are shared: nobody writes into one.
    """

    def __init__(self, kept_bytes: int = KEPT_BYTES) -> None:
        self._kept_bytes = kept_bytes
        self._made: OrderedDict[Hashable, Samples] = OrderedDict()
        self._lock = threading.Lock()
        self._making: defaultdict[Hashable, threading.Lock] = defaultdict(threading.Lock)

    def get(self, key: Hashable, make: Callable[[], Samples]) -> Samples:
        """The layer of a key, made now if it is not there; two threads never make the same."""
        with self._lock:
            making = self._making[key]
        with making:
            with self._lock:
                if key in self._made:
                    self._made.move_to_end(key)
                    return self._made[key]
            layer = make()
            layer.flags.writeable = False
            with self._lock:
                self._made[key] = layer
                while sum(each.nbytes for each in self._made.values()) > self._kept_bytes:
                    gone, _ = self._made.popitem(last=False)
                    self._making.pop(gone, None)
            return layer
