"""Players made up to test the coach on; none of them follows the coach's own assumptions."""
