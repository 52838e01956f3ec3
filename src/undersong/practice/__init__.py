"""Tempo ladder, readiness and plan: pure functions over history."""
