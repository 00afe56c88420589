"""The progress page: its plots and its texts."""
