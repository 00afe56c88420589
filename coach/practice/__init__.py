"""Floor 5: drills, the ledger, memory, ramps and the plan for today. No screen, no sound."""
