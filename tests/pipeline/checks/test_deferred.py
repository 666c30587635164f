"""A deferred module costs nothing until it is used, and is then the real one."""

from __future__ import annotations

import subprocess
import sys

CODE = """
import sys
from pipeline.checks.deferred import defer
defer("wave", "scipy.stats")
import wave
from scipy import stats
assert "scipy.stats._distn_infrastructure" not in sys.modules
assert round(stats.norm.ppf(0.975), 3) == 1.960
assert sys.modules["scipy.stats"] is not stats and sys.modules["scipy.stats"].__path__
assert wave.open and sys.modules["wave"].__file__
known = sys.modules["json"] = __import__("json")
defer("json")
assert sys.modules["json"] is known
try:
    wave.no_such_name
except AttributeError as error:
    assert "no_such_name" in str(error)
else:
    raise SystemExit("a name that is not there was found")
"""


def test_a_deferred_module_loads_at_its_first_use() -> None:
    done = subprocess.run([sys.executable, "-c", CODE], check=False, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


def test_the_gate_loads_no_charts() -> None:
    code = (
        "import sys; from pipeline.checks.suite import warm_up; warm_up().join();"
        "assert 'great_expectations' in sys.modules;"
        "assert not {'altair.vegalite', 'scipy.stats._stats_py'} & set(sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], check=False, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
