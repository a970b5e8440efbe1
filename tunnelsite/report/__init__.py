"""Pictures and pages made from results."""
