"""Parts of the record panel: the running bake, tables, events."""
