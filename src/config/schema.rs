//! The key table for machines (JSON Schema) and for people (a reference page).
