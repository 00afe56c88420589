"""What to practise today and why: need, turns, load, care of the hands, wishes, deadlines, and the plan."""
