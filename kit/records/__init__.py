"""The store: what was baked and measured, kept in one file; frames out, tables and packages in.

Read in this order: `tables` (what there is), `keeping` (the file: opened, written whole, copied,
put back), `journal` (every change goes through it and can be undone), `things` and `structure`
(bakes, doughs, loads, pieces: finding and making them), `trials`, `readings`, `frame` (out),
`planned` (what a plan becomes), `check_store` (is all as it should be). `typed` and `when` read
what people type. Then the rooms: `bench` (the running bake), `photos`, `tastings`, `sheets` (tables
in), `package` (a trial out and in as one zip file). `trial_head`, `trial_records` and `trial_asked`
put all of it behind one class, which bakers meet as `kit.workspace.Trial`.
"""
