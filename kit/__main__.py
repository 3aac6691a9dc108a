"""``python -m kit``."""

from kit.cli import main

main()
