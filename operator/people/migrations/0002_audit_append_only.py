"""The audit trail can be added to and read, by whatever program holds the connection."""

from django.db import migrations

GUARD = """
CREATE FUNCTION people_auditentry_append_only() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'audit entries are never changed or deleted' USING ERRCODE = 'restrict_violation';
END $$;
CREATE TRIGGER people_auditentry_append_only BEFORE UPDATE OR DELETE ON people_auditentry
    FOR EACH ROW EXECUTE FUNCTION people_auditentry_append_only();
"""
UNDO = """
DROP TRIGGER people_auditentry_append_only ON people_auditentry;
DROP FUNCTION people_auditentry_append_only();
"""


class Migration(migrations.Migration):
    dependencies = [("people", "0001_initial")]
    operations = [migrations.RunSQL(GUARD, UNDO)]
