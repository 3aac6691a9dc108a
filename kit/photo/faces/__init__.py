"""Where the cut face ends, and the face seen square on."""
