"""The pages of advice for others."""
