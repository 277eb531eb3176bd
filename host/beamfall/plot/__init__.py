"""Charts of what was planned and measured. matplotlib is imported only when one is drawn."""
