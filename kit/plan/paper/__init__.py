"""Pages to print: templates, their tables, the score sheet."""
