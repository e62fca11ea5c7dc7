"""/api/v1/plans/."""
