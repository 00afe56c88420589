"""The full-screen program: pages and widgets that draw; what they show is worked out in the rooms below."""
