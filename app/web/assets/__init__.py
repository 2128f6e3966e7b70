"""Files that browsers keep: style, scripts, plotly.js, each compressed once."""
