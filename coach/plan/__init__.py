"""What to practise today: need, order, load and care, wishes and dates, and the plan made of them."""
