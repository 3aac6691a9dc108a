"""Parts of the measure panel: photos, marks, references, what a photo shows."""
