"""What is measured beside taste: units, uncertainty, derived figures, and the verdict that weighs both. Pure."""
