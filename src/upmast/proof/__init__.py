"""The proof: limits, scenarios, findings of every room, and what each test should show before anyone measures."""
