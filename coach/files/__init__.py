"""Reading, writing and locking files safely, and changing TOML in place."""
