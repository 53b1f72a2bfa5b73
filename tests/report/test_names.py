import pytest
from strainstudy.records import Channel, Recording
from strainstudy.report.names import FIGURES, figure_files, forms_of, sensor_figure


def recording(name, task, sensor):
    return Recording(name, task, None, "", channels=(Channel("v", "sensor", "V", sensor),))


def test_a_figure_without_an_entry_in_the_list_cannot_be_written():
    with pytest.raises(KeyError):
        forms_of("surprise")
    assert forms_of("gait") == ("png", "svg", "pdf")
    assert forms_of("sensor_K-1") == ("png", "svg")


def test_people_have_a_drawing_for_each_recording_and_the_bench_a_figure_for_each_sensor():
    names = figure_files([recording("r-1", "walk", "K-1"), recording("b-1", "stretch", "S-1")])
    own = {name for name in names if name.split(".")[0] not in FIGURES}
    assert own == {"recordings/r-1.svg", "sensor_S-1.png", "sensor_S-1.svg"}


def test_a_sensor_called_health_takes_no_figure_of_the_study():
    of_sensor = figure_files([recording("b-1", "stretch", "health")])
    assert {"sensor-health.png", "sensor-health.svg", "sensor_health.png", "sensor_health.pdf"} <= set(of_sensor)
    assert forms_of(sensor_figure("health")) == ("png", "svg")
    assert forms_of("sensor_health") == ("png", "svg", "pdf")
