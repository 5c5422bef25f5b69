//! Configuration, sheets, plans and tools as text → checked values, or located errors.
