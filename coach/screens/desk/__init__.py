"""The chord desk: a page to try keys, shapes, routes and stand-ins for a progression."""
