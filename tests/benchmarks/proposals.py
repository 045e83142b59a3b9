"""What `place` proposes for the examples with needs, and for halls of the distribution centre: units, bound, effort.

    .venv/bin/python tests/benchmarks/proposals.py [SECONDS] [--hall MODULES]

SECONDS are those of the optimiser. Seconds of processor and megabytes are of the whole, each scene in a process of its
own. Of the hall every aisle is to be seen by its own units, the strips of packing and docks by any, 90 % of each.
"""

from __future__ import annotations

import json
import multiprocessing
import resource
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from distribution_centre import SIDE, distribution_centre

import raycover
from raycover.errors import InputError
from raycover.placing.layout import place

EXAMPLES = ("classroom", "washroom", "stairwell", "sports-hall", "depot", "office", "narrow-aisles")


def hall(n_modules: int) -> str:
    """The distribution centre without detectors, with needs."""
    scene = json.loads(distribution_centre(n_modules))
    needs = [{"name": "aisles", "aisles": "all", "whose": "own", "share": 0.9, "height": 1.0}]
    across = min(n_modules, 5)
    for k in range(n_modules):
        x, y = SIDE * (k % across), SIDE * (k // across)
        for name, low, high in (("docks", 1.0, 22.0), ("packing", 22.0, 44.0)):
            area = [[x + 1, y + low], [x + SIDE - 1, y + low], [x + SIDE - 1, y + high], [x + 1, y + high]]
            needs.append({"name": f"{name} {k + 1}", "area": area, "share": 0.9, "height": 1.0})
    placing = {
        "models": ["high-bay-infrared-aisle", "high-bay-infrared-round"], "mounting": [11.0], "from_wall": 1,
        "along": ["ceiling", "aisles"], "pitch": 4 if n_modules < 5 else 5,
    }  # fmt: skip
    return json.dumps(scene | {"detectors": [], "needs": needs, "placing": placing})


def tell(name: str, path: Path, seconds: float) -> None:
    began = time.process_time()
    try:
        found = place(raycover.load(path), seconds=seconds)
    except InputError as error:
        print(f"{name:16}  cannot be met: {error.problems[0].message[:90]}…")
        return
    spent = time.process_time() - began
    gap = (found.cost - found.bound) / found.cost
    met, of_all = ("yes" if found.met else "no"), ("all" if found.bound_of_all else "some")
    print(
        f"{name:16} {met:>4} {len(found.new):6d} {found.bound:6g} {of_all:>6} {gap:6.1%} {found.rounds:7d} "
        f"{found.n_candidates:11,} {found.n_quieter:8,} {spent:8.1f} "
        f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024:6d}",
        flush=True,
    )


def main() -> None:
    words = sys.argv[1:]
    seconds = float(words[0]) if words and not words[0].startswith("-") else 60.0
    print("scene            met  units  bound  cells    gap  rounds  candidates  quieter  cpu (s)     MB")
    with tempfile.TemporaryDirectory() as folder:
        examples = Path(__file__).parents[2] / "examples"
        scenes = {name: examples / name / "scene.yaml" for name in EXAMPLES}
        if "--hall" in words:
            n = int(words[words.index("--hall") + 1])
            path = Path(folder) / "hall.yaml"
            path.write_text(hall(n), encoding="utf-8")
            scenes = {f"{n * 10_000:,} m²": path}
        for name, path in scenes.items():
            one = multiprocessing.get_context("spawn").Process(target=tell, args=(name, path, seconds))
            one.start()
            one.join()


if __name__ == "__main__":
    main()
