"""The command line: parse, call one function, print."""

import os

# The linear algebra below numpy starts a thread for every core unless told otherwise, and reads
# this when it is loaded, so it is said before anything loads it. The app hears several players
# beside one another already: eight verdicts that take 0.2 s each took 8 s with those threads on two
# busy cores (benchmarks/web_load.py), and a single `hear` is no slower without.
for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")
