"""The store: what was baked and measured, kept in one file; frames out, spreadsheets in.

Read in this order: `tables` (what there is), `store` (opening it, with `trouble` and `upgrade`),
`journal` (every change goes through it and can be undone), `things` and `structure` (bakes,
doughs, loads, pieces: finding and making them), `trials`, `readings`, `frame` (out), `csv_in` and
`csv_check` (in); `typed` reads what people type. `trial_head` and `trial_records` put all of it
behind one class, which bakers meet as `kit.workspace.Trial`.
"""
