"""Where each kind of bad input is tested, by its number, or why it is not."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.whole_run.test_bad_inputs_by_command import REFUSED

TESTS = Path(__file__).resolve().parents[1]
HOSTILE, RASTERS, VECTORS = "io/test_hostile_files.py", "io/read/test_rasters.py", "io/read/test_vectors.py"
RUN, STAGING, COMMAND = "whole_run/test_bad_inputs.py", "io/write/test_staging.py", "hosts/cli/test_main.py"
FAULTS, SETTINGS, EVERY = "io/formats/test_geopackage_faults.py", "settings/test_model.py", "hosts/test_every_option.py"
BY_COMMAND, OUTPUTS, SERVER = (
    "whole_run/test_bad_inputs_by_command.py",
    "hosts/test_every_output.py",
    "hosts/server/test_server.py",
)
# row: (what is wrong, file, test)
TESTED = {
    "dem-file-01": ("missing DEM", HOSTILE, "test_dem_file_01_missing"),
    "dem-file-03": ("empty file", HOSTILE, "test_dem_file_03_empty"),
    "dem-file-05": ("truncated GeoTIFF", HOSTILE, "test_dem_file_05_truncated"),
    "dem-file-07": ("header claims 10^6 x 10^6", HOSTILE, "test_dem_file_07_header_larger_than_any_memory"),
    "dem-file-09": ("sparse BigTIFF", RASTERS, "test_dem_file_09_sparse_raster_windowed_or_refused"),
    "dem-file-11": ("VRT renamed .tif", HOSTILE, "test_dem_file_11_vrt_under_any_name"),
    "dem-file-13": ("VRT with Python in it", HOSTILE, "test_dem_file_13_python_in_a_vrt_never_runs"),
    "dem-file-15": ("data as a path", HOSTILE, "test_dem_file_15_text_that_is_no_path"),
    "dem-file-17": ("archive", HOSTILE, "test_dem_file_17_zip"),
    "dem-file-19": ("several bands", RASTERS, "test_dem_file_19_bands_must_be_chosen"),
    "dem-file-21": ("complex or 64-bit numbers", RASTERS, "test_dem_file_21_complex_refused_and_64_bit_integers_kept"),
    "dem-file-23": ("mask or alpha", RASTERS, "test_dem_file_23_internal_mask_and_alpha"),
    "dem-file-25": ("changed while read", RASTERS, "test_dem_file_25_changed_while_read"),
    "dem-file-27": ("no permission", HOSTILE, "test_dem_file_27_no_permission"),
    "crs-01": ("no coordinate system", RASTERS, "test_crs_01_without_coordinate_system"),
    "crs-03": ("degrees", RUN, "test_crs_03_degrees_are_warped_and_slopes_are_right"),
    "crs-05": ("feet on the map, metres up", RUN, "test_crs_05_and_09_feet_on_the_map_metres_up"),
    "crs-07": ("feet up, unsaid", RUN, "test_crs_07_the_vertical_unit_is_always_echoed"),
    "crs-09": ("two kinds of foot", RUN, "test_crs_05_and_09_feet_on_the_map_metres_up"),
    "crs-11": ("parcels in another system", RUN, "test_crs_11_parcels_in_another_system"),
    "crs-13": ("parcels elsewhere", RUN, "test_crs_13_parcels_elsewhere"),
    "crs-15": ("local system", RUN, "test_crs_15_no_link_to_the_earth"),
    "crs-17": ("beyond the zone", RUN, "test_crs_17_beyond_the_zone_true_east_stays_true"),
    "crs-19": ("antimeridian", RUN, "test_crs_19_parcels_across_the_date_line_are_refused"),
    "grid-01": ("south-up", RUN, "test_grid_01_south_up_gives_the_same_bits"),
    "grid-03": ("cells not square", RUN, "test_grid_03_cells_that_are_not_square"),
    "grid-05": ("geotransform of NaN", RASTERS, "test_grid_05_geotransform_that_is_no_place"),
    "grid-07": ("cells larger than the house", RUN, "test_grid_07_cells_larger_than_the_house"),
    "grid-09": ("too few cells", RASTERS, "test_grid_09_too_few_cells"),
    "values-01": ("nodata declared", RUN, "test_values_01_and_03_no_data_of_every_kind"),
    "values-03": ("nodata of every kind", RASTERS, "test_values_03_every_kind_of_nodata"),
    "values-05": ("nothing but nodata", RUN, "test_values_05_nothing_but_no_data"),
    "values-07": ("flat", RUN, "test_values_07_a_perfectly_flat_dem"),
    "values-09": ("spike", "whole_run/test_analytic.py", "test_a_spike_in_a_level_pad_is_not_averaged_away"),
    "values-11": ("seam", "whole_run/test_analytic.py", "test_a_seam_between_tiles_is_not_built_across"),
    "values-13": ("lake", "whole_run/test_analytic.py", "test_water_is_not_offered"),
    "parcels-01": ("bow tie", VECTORS, "test_parcels_01_bow_tie_is_repaired_and_said"),
    "parcels-03": ("lines for polygons", VECTORS, "test_parcels_03_wrong_geometry"),
    "parcels-05": ("several parts", RUN, "test_parcels_05_a_rectangle_never_bridges_two_parts"),
    "parcels-07": ("overlapping", RUN, "test_parcels_07_overlapping_parcels_list_a_place_once"),
    "parcels-09": ("too narrow", RUN, "test_parcels_09_too_narrow_says_so"),
    "parcels-11": ("very many vertices", VECTORS, "test_parcels_11_ring_of_many_vertices"),
    "parcels-13": ("Z, M, curves", VECTORS, "test_parcels_13_z_m_and_curves"),
    "parcels-15": ("no features", VECTORS, "test_parcels_15_no_features"),
    "parcels-17": ("bombs", HOSTILE, "test_parcels_17_bombs"),
    "config-01": ("unknown key", SETTINGS, "test_unknown_key_in_a_file_names_line_and_suggestion"),
    "config-03": ("negative, zero, NaN", EVERY, "test_what_is_no_value_is_refused"),
    "config-05": ("weights", SETTINGS, "test_wrong_settings_are_named"),
    "config-07": ("doubled keys, tags", SETTINGS, "test_what_is_no_toml_is_refused"),
    "config-09": ("decimal comma", "core/test_units.py", "test_decimal_comma_has_a_hint"),
    "config-11": ("southern hemisphere", "whole_run/test_analytic.py", "test_mirrored_north_south_with_the_hemisphere"),
    "config-13": ("beyond the magnetic model", "plans/stakeout/test_bearings.py", "test_the_magnetic_model_is_never_extrapolated"),
    "output-01": ("disk full", FAULTS, "test_output_01_a_disk_that_is_really_full"),
    "output-03": ("kill -9", FAULTS, "test_output_03_killed_at_twelve_random_moments"),
    "output-05": ("locked", "io/write/test_locks.py", "test_output_05_a_locked_database_is_refused_in_time"),
    "output-07": ("exists", COMMAND, "test_existing_output_is_kept"),
    "output-09": ("place cannot be written", STAGING, "test_output_09_places_that_cannot_be_written"),
    "output-11": ("names from data", "io/test_names.py", "test_output_11_no_text_leads_out_of_the_folder"),
    "output-13": ("formulas in CSV", "io/formats/test_csv_table.py", "test_output_13_words_that_look_like_formulas_are_neutralised_and_numbers_are_not"),
    "output-15": ("two runs at once", STAGING, "test_output_15_a_second_run_is_refused_at_once"),
    "output-17": ("colliding columns", VECTORS, "test_output_17_columns_that_collide_are_kept_renamed"),
    "output-19": ("threads and strips", RUN, "test_output_19_threads_and_strips_do_not_change_a_bit"),
    "run-01": ("Ctrl-C", "hosts/cli/test_interruption.py", "test_ctrl_c_keeps_the_old_output_and_leaves_nothing"),
    "run-05": ("little memory", HOSTILE, "test_run_05_little_address_space"),
    "run-07": ("no terminal", "hosts/cli/test_demo.py", "test_demo_needs_no_argument_and_ranks"),
    "run-03": ("a worker killed", "region/test_workers.py", "test_only_the_task_that_kills_its_worker_fails"),
    "run-09": ("time zone", BY_COMMAND, "test_output_19_and_run_09_the_same_bytes_whatever_the_threads_and_the_time_zone"),
    "server-01": ("input outside the schema", SERVER, "test_wrong_inputs_are_refused_before_a_job_is_accepted"),
    "server-03": ("files of the server", SERVER, "test_settings_are_checked_before_a_screening_is_accepted"),
    "server-05": ("a job dismissed", SERVER, "test_dismissing_a_job_kills_its_process"),
    "server-07": ("a full queue", SERVER, "test_a_full_queue_says_when_to_come_back"),
    "server-09": ("a server that dies", SERVER, "test_too_little_memory_and_too_large_requests_end_in_words_and_a_dead_server_leaves_no_job"),
    "layers-01": ("blank drainage class", "criteria/test_soils_lamps_room.py", "test_worst_class_under_the_pad_and_blank_ones"),
    "layers-05": ("empty layer", RUN, "test_layers_05_an_empty_layer_is_not_a_distance_of_zero"),
}  # fmt: skip
NOT_TESTED = {
    "layers-03": "point clouds are not read; such a file is refused as lidar (test_folder_pipe_and_other_formats)",
}
# row: (file, test) that goes through `main`, or through HTTP; those in REFUSED of the first file go without saying.
THROUGH_MAIN = {
    "dem-file-23": (BY_COMMAND, "test_no_data_of_every_kind_is_the_same_hole"),
    "dem-file-25": (BY_COMMAND, "test_dem_file_25_changed_while_it_was_read"),
    "dem-file-27": (BY_COMMAND, "test_dem_file_27_no_permission"),
    "crs-03": (BY_COMMAND, "test_crs_03_degrees"),
    "crs-05": (BY_COMMAND, "test_crs_05_and_09_feet_on_the_map"),
    "crs-07": (BY_COMMAND, "test_crs_07_the_vertical_unit_is_echoed"),
    "crs-09": (BY_COMMAND, "test_crs_05_and_09_feet_on_the_map"),
    "crs-11": (BY_COMMAND, "test_crs_11_and_17_other_systems"),
    "crs-17": (BY_COMMAND, "test_crs_11_and_17_other_systems"),
    "grid-01": (BY_COMMAND, "test_grid_01_and_03_other_grids"),
    "grid-03": (BY_COMMAND, "test_grid_01_and_03_other_grids"),
    "values-01": (BY_COMMAND, "test_no_data_of_every_kind_is_the_same_hole"),
    "values-03": (BY_COMMAND, "test_no_data_of_every_kind_is_the_same_hole"),
    "values-07": (BY_COMMAND, "test_values_07_to_13_grounds_that_deceive"),
    "values-09": (BY_COMMAND, "test_values_07_to_13_grounds_that_deceive"),
    "values-11": (BY_COMMAND, "test_values_07_to_13_grounds_that_deceive"),
    "values-13": (BY_COMMAND, "test_values_07_to_13_grounds_that_deceive"),
    "parcels-01": (BY_COMMAND, "test_parcels_01_05_07_13_shapes_that_need_mending"),
    "parcels-05": (BY_COMMAND, "test_parcels_01_05_07_13_shapes_that_need_mending"),
    "parcels-07": (BY_COMMAND, "test_parcels_01_05_07_13_shapes_that_need_mending"),
    "parcels-09": (BY_COMMAND, "test_parcels_09_a_sliver_says_why"),
    "parcels-11": (BY_COMMAND, "test_parcels_11_a_ring_of_very_many_vertices"),
    "parcels-13": (BY_COMMAND, "test_parcels_01_05_07_13_shapes_that_need_mending"),
    "config-11": (BY_COMMAND, "test_config_11_southern_hemisphere_and_polar_night"),
    "output-01": (OUTPUTS, "test_whatever_fails_each_output_is_old_or_new"),
    "output-03": (BY_COMMAND, "test_output_03_killed_while_it_writes"),
    "output-05": (OUTPUTS, "test_an_output_that_another_program_holds"),
    "output-11": (BY_COMMAND, "test_output_11_13_17_words_and_columns_from_data"),
    "output-13": (BY_COMMAND, "test_output_11_13_17_words_and_columns_from_data"),
    "output-15": (OUTPUTS, "test_an_output_of_which_another_run_has_hold"),
    "output-17": (BY_COMMAND, "test_output_11_13_17_words_and_columns_from_data"),
    "output-19": (BY_COMMAND, "test_output_19_and_run_09_the_same_bytes_whatever_the_threads_and_the_time_zone"),
    "run-01": ("hosts/cli/test_interruption.py", "test_ctrl_c_keeps_the_old_output_and_leaves_nothing"),
    "run-03": ("region/test_region.py", "test_workers_do_not_matter_and_a_killed_run_goes_on"),
    "run-05": (BY_COMMAND, "test_run_05_little_address_space"),
    "run-07": (COMMAND, "test_json_is_json_and_progress_goes_to_stderr"),
    "run-09": (BY_COMMAND, "test_output_19_and_run_09_the_same_bytes_whatever_the_threads_and_the_time_zone"),
    "server-01": (SERVER, "test_wrong_inputs_are_refused_before_a_job_is_accepted"),
    "server-03": (SERVER, "test_settings_are_checked_before_a_screening_is_accepted"),
    "server-05": (SERVER, "test_dismissing_a_job_kills_its_process"),
    "server-07": (SERVER, "test_a_full_queue_says_when_to_come_back"),
    "server-09": (SERVER, "test_too_little_memory_and_too_large_requests_end_in_words_and_a_dead_server_leaves_no_job"),
    "layers-01": (BY_COMMAND, "test_layers_01_and_05_blank_classes_and_empty_layers"),
    "layers-05": (BY_COMMAND, "test_layers_01_and_05_blank_classes_and_empty_layers"),
}  # fmt: skip


def _is_there(file: str, name: str) -> bool:
    return re.search(rf"^def {name}\(", (TESTS / file).read_text("utf-8"), re.MULTILINE) is not None


@pytest.mark.parametrize("row", TESTED)
def test_the_test_is_there(row: str) -> None:
    _, file, name = TESTED[row]
    assert _is_there(file, name), (row, file, name)


def test_every_row_is_accounted_for_once() -> None:
    assert not set(TESTED) & set(NOT_TESTED)
    assert len(TESTED) + len(NOT_TESTED) == 75


def test_every_row_goes_through_the_command_line_as_well() -> None:
    assert not set(REFUSED) & set(THROUGH_MAIN)
    assert set(REFUSED) | set(THROUGH_MAIN) == set(TESTED) | set(NOT_TESTED)
    assert all(_is_there(*where) for where in THROUGH_MAIN.values())
