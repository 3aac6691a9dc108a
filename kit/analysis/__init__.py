"""Pure computation on frames, arrays and numbers: no database, plots or widgets."""
