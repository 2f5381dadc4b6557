"""How tables are played: games and minutes by meters, what a game brought, and what was bought at each price."""
