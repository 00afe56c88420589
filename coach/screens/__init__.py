"""The full-screen coach: pages, the keys they share, and the terminal they are drawn on."""
