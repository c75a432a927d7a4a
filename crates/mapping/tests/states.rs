//! Unit state from constants, columns and conditions.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use common::{import, small};
use rimeline_channels::{Channel, Compressor, Power, RunningMode, Stage, Value};
use rimeline_mapping::ProblemKind;

#[test]
fn a_part_with_two_words_is_the_other_one_where_its_condition_fails_and_unknown_without_a_number() {
    let (rows, problems) = import(
        &small("[state]\ncompressor = { running = 'w > 500' }\npower = 'on'\nrunning_mode = 'start_stop'"),
        "t,x,w\n1,1,500\n2,1,500.1\n3,1,NA\n4,1,\n5,1,much\n",
    );
    let found: Vec<_> = rows.iter().map(|row| row.state.compressor).collect();
    let unknown = Compressor::Unknown;
    assert_eq!(found, [Compressor::Stopped, Compressor::Running, unknown, unknown, unknown]);
    assert!(rows.iter().all(|row| row.state.power == Power::On));
    assert!(rows.iter().all(|row| row.state.running_mode == RunningMode::StartStop));
    assert_eq!(problems.len(), 1);
    assert!(
        problems[0].1.contains("a.csv:6: column `w`") && problems[0].1.contains("`much`"),
        "{problems:?}"
    );
}

#[test]
fn conditions_for_several_words_are_tried_in_the_order_of_the_vocabulary() {
    let rules = "[state]\nstage = { heating = 'w < 0', cooling_high = 'w > 900', cooling_low = 'w > 500 and w <= 900' }";
    let (rows, problems) = import(&small(rules), "t,x,w\n1,1,901\n2,1,900\n3,1,500\n4,1,-1\n");
    let found: Vec<_> = rows.iter().map(|row| row.state.stage).collect();
    assert_eq!(found, [Stage::CoolingHigh, Stage::CoolingLow, Stage::Unknown, Stage::Heating]);
    assert_eq!(problems, []);
}

#[test]
fn a_word_for_each_text_matches_numbers_in_any_spelling_and_counts_what_is_not_listed() {
    let rules = "[state]\nstage = { column = 's', values = { '0' = 'satisfied', '1' = 'cooling_low', 'DEF' = 'defrosting' } }";
    let text = "t,x,s\n1,1,0\n2,1,1.0\n3,1,DEF\n4,1,NA\n5,1,\n6,1,7\n7,1,def\n";
    let (rows, problems) = import(&small(rules), text);
    let found: Vec<_> = rows.iter().map(|row| row.state.stage).collect();
    let unknown = Stage::Unknown;
    assert_eq!(
        found,
        [Stage::Satisfied, Stage::CoolingLow, Stage::Defrosting, unknown, unknown, unknown, unknown]
    );
    let kinds: Vec<_> = problems.iter().map(|problem| problem.0).collect();
    assert_eq!(kinds, [ProblemKind::UnknownWord; 2]);
    assert!(
        problems[0].1.contains("a.csv:7: column `s`") && problems[0].1.contains("[state] stage"),
        "{problems:?}"
    );
    let (rows, problems) = import(&small(&rules.replace("} }", "}, otherwise = 'self_test' }")), text);
    assert_eq!((rows[5].state.stage, rows[4].state.stage, problems), (Stage::SelfTest, unknown, vec![]));
}

#[test]
fn digital_inputs_and_outputs_are_eight_bits() {
    let rules = "[state]\ninputs = { column = 'in' }\noutputs = { column = 'out' }";
    let (rows, problems) = import(&small(rules), "t,x,in,out\n1,1,255,0\n2,1,256,1.5\n3,1,-1,7\n");
    let found: Vec<_> = rows.iter().map(|row| (row.state.inputs, row.state.outputs)).collect();
    assert_eq!(found, [(255, 0), (0, 0), (0, 7)]);
    assert_eq!(problems.len(), 3);
    assert!(
        problems.iter().all(|(kind, text)| *kind == ProblemKind::OutOfRange && text.contains("0 to 255"))
    );
}

#[test]
fn a_constant_channel_stands_in_every_row_and_scale_and_offset_come_before_the_unit_of_measure() {
    let rules = "[[channels]]\nchannel = 'set_point'\nconstant = 41.0\nunit = '[degF]'\n\
                 [[channels]]\nchannel = 'discharge_pressure'\ncolumn = 'p'\nunit = 'bar'\nscale = 0.1\noffset = -1.01325\n";
    let (rows, problems) = import(&small(rules), "t,x,p\n1,1,110\n2,1,-1\n");
    assert_eq!(problems, []);
    assert!(rows.iter().all(|row| row.get(Channel::SetPoint) == Value::Number(50)));
    // 11 bar absolute is 998.675 kPa above 101.325 kPa.
    assert_eq!(rows[0].get(Channel::DischargePressure), Value::Number(999));
    assert_eq!(rows[1].get(Channel::DischargePressure), Value::Number(-111));
}
