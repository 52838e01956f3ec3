"""Bass lines for a chart, by level: each makes a Part."""
