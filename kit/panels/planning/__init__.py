"""Parts of the plan panel."""
