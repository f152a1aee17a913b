"""The gauge tables: an older book keeps its blade sets, and a set's change is kept."""

from alembic import command
from sqlalchemy import create_engine, text

from app.core.gauges.blade_sets import BladeSetEntry
from app.packed import folder_of
from app.store.book.migrating import alembic_config, migrate_book
from app.store.records.blade_sets import get_blade_set, save_blade_set, save_families, set_for_kind
from app.store.records.revisions import list_revisions
from tests.conftest import NOON


def test_an_older_book_keeps_its_gauges_and_its_family_s_blade_set(tmp_path):
    engine = create_engine(f"sqlite:///{tmp_path / 'book.sqlite3'}")
    with engine.begin() as connection:
        command.upgrade(alembic_config(folder_of("migrations"), connection), "20261125_first")
        connection.execute(
            text(
                "INSERT INTO gauge (id, kind, label, nominal_mm, retired, notes) "
                "VALUES (1, 'blade', '0.0015 in', 0.0381, 0, 'old')"
            )
        )
        connection.execute(
            text("INSERT INTO blade_set (id, name, family) VALUES (3, 'saxes', 'saxophones')")
        )
        connection.execute(
            text("INSERT INTO blade_set_member (blade_set_id, gauge_id, place) VALUES (3, 1, 0)")
        )
    assert migrate_book(engine, folder_of("migrations"))
    with engine.connect() as connection:
        gauge = connection.execute(text("SELECT label, nominal_mm, version FROM gauge")).one()
        assert tuple(gauge) == ("0.0015 in", 0.0381, 1)
        kept = connection.execute(text("SELECT family, blade_set_id FROM family_blade_set")).all()
        assert [tuple(one) for one in kept] == [("saxophones", 3)]
        assert connection.execute(text("SELECT count(*) FROM blade_set_member")).scalar() == 1
    engine.dispose()


def test_a_set_and_a_choice_remember_what_they_were(sessions):
    with sessions.write() as session:
        blade_set = get_blade_set(session, 1)
        held = [one.gauge_id for one in blade_set.members]
        entry = BladeSetEntry("two blades", (held[0], held[-1]))
        save_blade_set(session, blade_set, entry, blade_set.version, NOON)
        assert [one.gauge_id for one in get_blade_set(session, 1).members] == [held[0], held[-1]]
        before = [one.before for one in list_revisions(session, "blade_set", 1)]
        assert before == [
            {"blades": "0.034 in, 0.024 in, 0.010 in, 0.0015 in"},
            {"name": "four blades (0.034 to 0.0015 in)"},
        ]
        save_families(session, {"saxophones": 2}, NOON)
        assert set_for_kind(session, "sax_tenor") == 2
        assert set_for_kind(session, "clarinet_bb") is None
        save_families(session, {"saxophones": None}, NOON)
        assert set_for_kind(session, "sax_tenor") is None
        assert list_revisions(session, "family_blade_set", 0)[0].before["blade_set_id"] == 2
