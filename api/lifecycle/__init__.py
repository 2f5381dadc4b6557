"""How tables and venues leave the route, and how what was recorded by mistake is taken back."""
