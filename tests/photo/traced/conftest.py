"""The scripts that traced these pictures need renderers that are not among the test dependencies."""

collect_ignore = ["make.py", "make_crumbs.py"]
