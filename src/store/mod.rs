//! What is kept from session to session, in SQLite: measurements (a cache, safe to lose);
//! decisions, supplied facts, preferences and recent nights (not cache).
