"""Several records side by side: who passes what, where they cannot be told apart, and what their options change."""
