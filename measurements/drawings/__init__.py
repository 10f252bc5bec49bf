"""Pictures and charts: coordinates and plain data, which templates and Plotly's script draw."""
