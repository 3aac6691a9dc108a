"""Parts of the taste panel."""
