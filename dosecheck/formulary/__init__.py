"""The editable folder of dose figures: read, proved, compiled into limits on whole numbers."""
