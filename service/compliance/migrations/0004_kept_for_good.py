from django.db import migrations

# What proves something to an authority can be added to and read, by whatever program holds the
# connection. Of what was measured or done only its setting aside is told later, of a lock its
# lifting, of a rule what replaced it.
ONLY_ADDED = ("accessmeasure", "evidence", "ratefile", "recallremoval")
SET_ASIDE = "{set_aside_at,set_aside_by_id,set_aside_why}"
SET_LATER = {
    "accesscheck": SET_ASIDE,
    "energyreading": SET_ASIDE,
    "dutydone": SET_ASIDE,
    "foodlock": "{finding_id,serviced_at,restocked_at,lifted_at,lifted_by_id,lifted_said}",
    "taxrule": "{replaced_by_id,removed_at,updated_at}",
}
GUARD = (
    """
CREATE FUNCTION compliance_set_later() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP = 'DELETE' OR TG_ARGV[0] = '{}'
        OR to_jsonb(OLD) - TG_ARGV[0]::text[] IS DISTINCT FROM to_jsonb(NEW) - TG_ARGV[0]::text[]
    THEN
        RAISE EXCEPTION 'what proves something is never changed or deleted'
            USING ERRCODE = 'restrict_violation';
    END IF;
    RETURN NEW;
END $$;
"""
    + "".join(
        f"CREATE TRIGGER compliance_{table}_kept BEFORE UPDATE OR DELETE ON compliance_{table} "
        f"FOR EACH ROW EXECUTE FUNCTION compliance_set_later('{columns}');\n"
        for table, columns in (dict.fromkeys(ONLY_ADDED, "{}") | SET_LATER).items()
    )
)
UNGUARD = (
    "".join(
        f"DROP TRIGGER compliance_{table}_kept ON compliance_{table};\n"
        for table in (*ONLY_ADDED, *SET_LATER)
    )
    + "DROP FUNCTION compliance_set_later();\n"
)


class Migration(migrations.Migration):
    dependencies = [("compliance", "0003_access_energy_labels")]

    operations = [migrations.RunSQL(GUARD, UNGUARD)]
