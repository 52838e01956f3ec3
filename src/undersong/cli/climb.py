"""`undersong climb`: the tempo of each pass, and of the next, by the practice rule."""

from __future__ import annotations

import argparse

from undersong.cli.options import Commands, add_json, bpm, number, print_json, whole

SAID = {"C": "clean", "F": "not clean", "U": "could not tell"}


def add(commands: Commands) -> None:
    """Put `climb` on the list of commands."""
    command = commands.add_parser(
        "climb",
        help="the next tempo, from a row of clean and failed passes",
        description="Two clean passes in a row raise the tempo by 5; one that is not clean lowers "
        "it by 10 and the climb starts again; one that could not be judged changes nothing.",
    )
    command.add_argument(
        "results", metavar="RESULTS", help="C clean, F not clean, U could not tell; oldest first"
    )
    command.add_argument("--start", type=bpm, metavar="BPM", help="first tempo (default 70)")
    command.add_argument("--up", type=number, metavar="BPM", help="raise by (default 5)")
    command.add_argument("--down", type=number, metavar="BPM", help="lower by (default 10)")
    command.add_argument("--in-a-row", type=whole, metavar="N", help="clean passes (default 2)")
    command.add_argument("--floor", type=bpm, metavar="BPM", help="never below (default 40)")
    command.add_argument("--ceiling", type=bpm, metavar="BPM", help="never above (default none)")
    add_json(command)
    command.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the climb."""
    from undersong.practice.ladder import Rule, climb, climb_json, parse_results

    words = {
        "start_bpm": args.start,
        "up_bpm": args.up,
        "down_bpm": args.down,
        "in_a_row": args.in_a_row,
        "floor_bpm": args.floor,
        "ceiling_bpm": args.ceiling,
    }
    rule = Rule(**{name: value for name, value in words.items() if value is not None})
    outcomes = parse_results(args.results)
    if args.json:
        print_json(climb_json(rule, outcomes))
    else:
        done = climb(rule, outcomes)
        for number, (tempo_bpm, outcome) in enumerate(
            zip(done.tempos_bpm, outcomes, strict=True), 1
        ):
            print(f"Pass {number:>2}  {tempo_bpm:>5g}  {SAID[outcome.value]}")
        print(f"Next: {done.next_bpm:g}.")
    return 0
