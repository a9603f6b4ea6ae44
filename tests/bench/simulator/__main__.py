"""Write one class folder and its truth beside it: `python -m tests.bench.simulator SEED FOLDER`."""

import argparse
from pathlib import Path

from tests.bench.simulator.rates import DIFFICULTIES
from tests.bench.simulator.simulate import simulate_class, write_truth

if __name__ == "__main__":
    parser = argparse.ArgumentParser(prog="tests.bench.simulator", description=__doc__)
    parser.add_argument("seed", type=int)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--difficulty", choices=DIFFICULTIES)
    chosen = parser.parse_args()
    truth = simulate_class(chosen.seed, chosen.folder, chosen.difficulty)
    beside = chosen.folder.with_name(chosen.folder.name + ".truth.json")
    write_truth(truth, beside)
    print(f"{truth.family}, {truth.people} people, {len(truth.files)} files; truth in {beside}")
