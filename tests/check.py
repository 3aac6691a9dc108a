"""All checks before a commit: lint, format, types, tests and notebooks.

Run with ``python tests/check.py``; words after it go to pytest.
"""

import subprocess
import sys

CHECKS = (
    ["ruff", "check", "."],
    ["ruff", "format", "--check", "."],
    ["mypy"],
    ["pytest", *sys.argv[1:]],
)

if __name__ == "__main__":
    failed = [
        " ".join(check)
        for check in CHECKS
        if subprocess.run([sys.executable, "-m", *check], check=False).returncode
    ]
    sys.exit(f"failed: {', '.join(failed)}" if failed else 0)
