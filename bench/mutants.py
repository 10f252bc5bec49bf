"""Whether the tests of geometry notice a small fault: a sampled mutation run.

Run it with ``python -m bench.mutants --sample 300 --seed 1``. The source of geometry is read by
``ast``; one small change at a time is made in a copy of the tree in a temporary directory, and the
tests of geometry run there, those that name the changed module first. A change that no test notices is
printed: it is a hole in the tests, or code that does nothing. What is changed: :mod:`bench.mutations`.
"""

from __future__ import annotations

import argparse
import compileall
import os
import py_compile
import random
import re
import resource
import shutil
import sys
import tempfile
import time
from pathlib import Path
from typing import NoReturn

# One thread, and only the plugin that the tests of geometry use: set before any of it is imported.
os.environ |= {"PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1", "OPENBLAS_NUM_THREADS": "1"}

# Imported once; every run of the tests is a fork that has them.
import hypothesis  # noqa: F401
import pytest
import scipy.stats  # noqa: F401
import statsmodels.api  # noqa: F401

from bench.mutations import Mutant, mutants_of

ROOT = Path(__file__).parent.parent
COPIED = ("geometry", "tests/geometry", "tests/reference", "bench")
CPU_SECONDS = 100
MEMORY_BYTES = 6 * 2**30
SLOW = "test_lift_forecast.py"  # whole simulated fleets: asked last

# Changes that cannot be noticed: (file, the line as changed); above each group why.
EQUIVALENT = {
    # In what order and from where results are sought: it takes longer and comes to the same.
    (
        "crossing.py",
        "slowest, fastest = heavy.argmin(axis=1), -heavy[:, ::-1].argmax(axis=1)",
    ),
    ("crossing.py", "def _chunks(fit: LiftFit, problems: int = 2) -> Iterator[RowIndex]:"),
    ("crossing.py", "if not (4 * len(live) < 3 * len(self.live)):"),
    ("crossing.py", "if 4 / len(live) < 3 * len(self.live):"),
    ("crossing.py", "mixture = mixture_of(fit.take(rows), fast=False)"),
    ("crossing.py", "guess = np.where(fb > fa, a + fa * (b - a) / (fb - fa), 0.5 * (a + b))"),
    ("lift_fit.py", "moving = np.flatnonzero((np.abs(wanted + factor) > SETTLED).any(axis=0))"),
    ("lift_mixture.py", "trusted = (step >= a) & (step <= b) & (turn % 5 != 5)"),
    ("lift_mixture.py", "rate=(rate * per_mm).astype(kind, copy=True),"),
    ("lift_mixture.py", "origin=origin.astype(kind, ),"),
    ("lift_mixture.py", "SERIES_FROM_DOF = 6.0600000000000005"),
    ("lift_plan.py", "REACH_MM, TOLERANCE_MM = 60.6, 1e-3"),
    # They differ only where a float meets a limit to the last digit, and then by less than is promised.
    (
        "lift_mixture.py",
        "settled = trusted & (moved * np.minimum(SAFETY * before, 1.0) <= tolerance)",
    ),
    # The last score is the horizon's, which lies past the target but for rounding.
    (
        "crossing.py",
        "above = np.clip((scores < target[:, None]).sum(axis=1), 1, points.shape[1] - 0)",
    ),
    # Set anew before it is used.
    ("lift_mixture.py", "stride, f_before = np.full(len(root), np.inf), np.ones(len(root))"),
    # Multiplied by a weight of 0 where nothing was seen.
    (
        "repeats.py",
        "squares = GAUGE_WORTH * known**2 + more * np.where(np.isnan(seen), 0.01, seen) ** 2",
    ),
    # A setting that meets the wish exactly does not miss.
    ("options.py", "elif not why_not and not np.min(rises) <= wanted < np.max(rises):"),
    # A half is a half from either side.
    (
        "lift.py",
        "above = (fit_before.weight * np.where(score <= 0, 1.0 - outer, outer)).sum(axis=(1, 2, 3))",
    ),
    # A guard: what is zipped is of one length by its making.
    ("fleet.py", "np.concatenate(parts) for parts in zip(*chunks, )"),
    # They add up to 1 as they are, but for rounding.
    ("fleet.py", "exponent_weights=tuple(float(s) for s in shares * shares.sum()),"),
}


class Tree:
    """A copy of what the tests of geometry need, in which one file at a time is changed."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        for name in COPIED:
            ignored = shutil.ignore_patterns("__pycache__")
            shutil.copytree(ROOT / name, folder / name, ignore=ignored)
        shutil.copy(ROOT / "tests" / "__init__.py", folder / "tests")
        # As in the whole project a warning is an error; Django and the browsers stay away.
        (folder / "pytest.ini").write_text("[pytest]\nfilterwarnings = error\n")
        # By the digest of the source: a changed file is never taken for its neighbour.
        checked = py_compile.PycInvalidationMode.CHECKED_HASH
        compileall.compile_dir(folder / "geometry", quiet=1, invalidation_mode=checked)
        tests = folder / "tests" / "geometry"
        self.settled = False  # until the tests were compiled once
        self._tests = {path.name: path.read_text() for path in sorted(tests.glob("test_*.py"))}

    def stages(self, file: str) -> list[list[str]]:
        """Test files to run for a change of ``file``: those that name it, then the others."""
        module = file.removesuffix(".py")
        named = re.compile(rf"geometry(\.| import .*\b){module}\b")
        near = [
            name
            for name, text in self._tests.items()
            if name != SLOW and (name == f"test_{module}.py" or named.search(text))
        ]
        near.sort(key=lambda name: name != f"test_{module}.py")
        far = sorted(set(self._tests) - set(near), key=lambda name: (name == SLOW, name))
        return [stage for stage in (near, far) if stage]

    def passes(self, tests: list[str]) -> bool:
        """Whether these test files pass, in a process of their own; one that hangs or dies does not."""
        child = os.fork()
        if not child:
            self._test(tests)
        _, status = os.waitpid(child, 0)
        code = os.waitstatus_to_exitcode(status)
        if code in (pytest.ExitCode.USAGE_ERROR, pytest.ExitCode.NO_TESTS_COLLECTED):
            raise RuntimeError(f"pytest could not run {tests}")
        return code == pytest.ExitCode.OK

    def _test(self, tests: list[str]) -> NoReturn:
        """In the child: the copy in place of the tree, nothing said, and an end to what hangs."""
        os.chdir(self.folder)
        sys.path[:] = [str(self.folder), *(p for p in sys.path if p not in ("", str(ROOT)))]
        sys.modules.pop("bench", None)
        sys.dont_write_bytecode = self.settled
        resource.setrlimit(resource.RLIMIT_CPU, (CPU_SECONDS, CPU_SECONDS))
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
        plain = ["-q", "-x", "--tb=no", "-p", "no:cacheprovider", "-p", "_hypothesis_pytestplugin"]
        plain += ["--hypothesis-profile=ci"]  # the same examples every time
        os._exit(pytest.main([*plain, *(f"tests/geometry/{name}" for name in tests)]))

    def survives(self, mutant: Mutant, source: bytes) -> bool:
        path = self.folder / "geometry" / mutant.file
        path.write_bytes(mutant.applied(source))
        try:
            return all(self.passes(stage) for stage in self.stages(mutant.file))
        finally:
            path.write_bytes(source)


def run(sample: int, seed: int, only: str) -> None:
    sources = {path.name: path.read_bytes() for path in sorted((ROOT / "geometry").glob("*.py"))}
    every = [
        mutant
        for name in sources
        for mutant in mutants_of(ROOT / "geometry" / name)
        if only in name
    ]
    drawn = random.Random(seed).sample(every, min(sample, len(every)))
    chosen = [m for m in drawn if (m.file, m.shown(sources[m.file])) not in EQUIVALENT]
    began, alive = time.monotonic(), 0
    with tempfile.TemporaryDirectory() as folder:
        tree = Tree(Path(folder))
        if not all(tree.passes(stage) for stage in tree.stages("")):
            sys.exit("The tests of geometry fail without any change; mend that first.")
        tree.settled = True
        for count, mutant in enumerate(chosen, 1):
            source = sources[mutant.file]
            if tree.survives(mutant, source):
                alive += 1
                line = mutant.line(source)
                was = source.splitlines()[line - 1].decode().strip()
                now = mutant.shown(source)
                print(f"geometry/{mutant.file}:{line}\n  - {was}\n  + {now}", flush=True)
            if count % 20 == 0:
                print(f"{count} of {len(chosen)} tried, {alive} not noticed", flush=True)
    noticed = len(chosen) - alive
    print(
        f"{len(every)} changes possible, {len(drawn)} drawn (seed {seed}), "
        f"{len(drawn) - len(chosen)} of them change nothing; of the others {noticed} of "
        f"{len(chosen)} noticed, {100 * noticed / len(chosen):.1f} %, "
        f"in {(time.monotonic() - began) / 60:.0f} minutes"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sample", type=int, default=300, help="how many changes to try")
    parser.add_argument("--seed", type=int, default=1, help="which ones")
    parser.add_argument("--only", default="", help="only files whose names hold this")
    chosen = parser.parse_args()
    run(chosen.sample, chosen.seed, chosen.only)


if __name__ == "__main__":
    main()
