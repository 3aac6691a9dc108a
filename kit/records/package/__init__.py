"""Data packages: a trial as one zip file, out to another baker and in from one."""
