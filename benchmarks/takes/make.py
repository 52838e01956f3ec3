"""The command: make a split of takes, or a take of a given Part."""

import argparse
import json
import sys
from collections import Counter
from pathlib import Path
from typing import Any

import soundfile as sf

from takes.conditions import CONDITIONS, LATER, ORDER
from takes.corpus import FIRST_SEED, SOUNDS, Take, render_part, takes
from takes.player import PLANTS
from takes.sources import SourceMissing, sound

HERE = Path(__file__).resolve().parent.parent
DOWNLOADS = HERE / "out" / "sources"


def write_take(take: Take, folder: Path) -> None:
    """Write NAME.flac (16 bit) and NAME.json."""
    folder.mkdir(parents=True, exist_ok=True)
    sf.write(
        folder / f"{take.name}.flac",
        take.samples,
        take.truth["sample_rate_hz"],
        subtype="PCM_16",
        compression_level=1.0,
    )
    (folder / f"{take.name}.json").write_text(truth_text(take.truth) + "\n", encoding="utf-8")


def truth_text(value: Any, indent: str = "") -> str:
    """JSON with one note a line, so that a person can read it."""
    deeper = indent + " "
    if isinstance(value, list) and value and isinstance(value[0], dict):
        rows = [json.dumps(row, ensure_ascii=False) for row in value]
        return f"[\n{deeper}" + f",\n{deeper}".join(rows) + f"\n{indent}]"
    if isinstance(value, dict):
        rows = [f"{json.dumps(key)}: {truth_text(value[key], deeper)}" for key in value]
        return f"{{\n{deeper}" + f",\n{deeper}".join(rows) + f"\n{indent}}}"
    return json.dumps(value, ensure_ascii=False)


def counted(truth: dict[str, Any]) -> Counter[str]:
    """How many takes, notes and planted mistakes of each kind a take adds."""
    counts = Counter({"takes": 1, "notes asked": len(truth["asked"]["notes"])})
    counts["clean takes"] += truth["clean"]
    counts["five-string takes"] += truth["strings"] == 5
    counts["planted: missed"] += len(truth["missed"])
    for note in truth["played"]:
        if note["plant"] is not None:
            detail = note["plant_detail"].split()[0] if note["plant"] in ("wrong", "extra") else ""
            counts[f"planted: {note['plant']} {detail}".rstrip()] += 1
    return counts


def arguments(words: list[str] | None) -> argparse.Namespace:
    """The command line."""
    parser = argparse.ArgumentParser(description="Make bass takes with known answers.")
    parser.add_argument("--split", choices=sorted(SOUNDS), default="tune")
    parser.add_argument("--out", type=Path, default=None, help="folder for the takes")
    parser.add_argument("--count", type=int, default=40, help="how many takes of the split")
    parser.add_argument("--seed", type=int, default=None)
    parser.add_argument(
        "--condition",
        default="dry",
        help=f"dry, or any of {', '.join(ORDER)}, joined by + (room+noise); several, with "
        f"commas, are dealt over the split; later: {', '.join(LATER)}; each: dry and every one "
        "that is not among those",
    )
    parser.add_argument("--part", type=Path, help="a Part (JSON) to play, instead of a split")
    parser.add_argument("--tempo", type=float, help="tempo played, with --part")
    parser.add_argument(
        "--plant",
        default="none",
        help=f"with --part: none, or some of {', '.join(PLANTS)}, with commas",
    )
    parser.add_argument(
        "--sound",
        default="karoryfer-electric",
        choices=sorted({name for names in SOUNDS.values() for name in names}),
    )
    parser.add_argument("--name", help="name of the take, with --part")
    return parser.parse_args(words)


def conditions_of(said: str) -> list[list[str]]:
    """The sets of conditions that --condition asks for."""
    groups = {"each": ["dry", *CONDITIONS], "later": list(LATER)}
    sets = [name for word in said.split(",") for name in groups.get(word, [word])]
    found = [[] if name == "dry" else name.split("+") for name in sets]
    unknown = sorted({name for names in found for name in names} - set(ORDER))
    if unknown:
        sys.exit(f"no such condition: {', '.join(unknown)}; there are {', '.join(ORDER)}")
    return found


def take_of_part(asked: argparse.Namespace) -> Take:
    """The take that --part asks for."""
    part = json.loads(asked.part.read_text(encoding="utf-8"))
    plants = [] if asked.plant == "none" else asked.plant.split(",")
    unknown = [plant for plant in plants if plant not in PLANTS]
    if unknown:
        sys.exit(f"no such mistake: {', '.join(unknown)}; there are {', '.join(PLANTS)}")
    seed = 1 if asked.seed is None else asked.seed
    bass = sound(asked.sound, DOWNLOADS)
    samples, truth = render_part(
        part,
        plants,
        asked.tempo or part["tempo_bpm"],
        seed,
        bass,
        conditions=conditions_of(asked.condition)[0],
    )
    if truth["plants_left_out"]:
        print(f"no room in this Part for: {', '.join(truth['plants_left_out'])}")
    name = asked.name or asked.part.stem
    return Take(name, samples, {"name": name, "split": "part", **truth})


def main(words: list[str] | None = None) -> int:
    """Make what the command line asks for."""
    asked = arguments(words)
    try:
        if asked.part:
            write_take(take_of_part(asked), asked.out or HERE / "out" / "parts")
            return 0
        seed = FIRST_SEED[asked.split] if asked.seed is None else asked.seed
        counts: Counter[str] = Counter()
        for take in takes(
            asked.split, asked.count, seed, DOWNLOADS, conditions_of(asked.condition)
        ):
            write_take(take, asked.out or HERE / "out" / asked.split)
            counts.update(counted(take.truth))
        print("\n".join(f"{counts[what]:6d} {what}" for what in sorted(counts)))
    except SourceMissing as problem:
        sys.exit(str(problem))
    return 0
