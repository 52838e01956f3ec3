"""Make bass takes with known answers: `python benchmarks/make_takes.py --split tune`."""

from takes.make import main

if __name__ == "__main__":
    raise SystemExit(main())
