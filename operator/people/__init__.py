"""Who works here: people, roles, sign-in, device tokens, the audit trail."""
