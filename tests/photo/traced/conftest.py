"""The scripts that traced these pictures need renderers that the tests do not install."""

collect_ignore = ["make.py", "make_crumbs.py"]
