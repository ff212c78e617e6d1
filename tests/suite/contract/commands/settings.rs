//! Server and site: from flag, environment, profile, or the only site there is.

use super::scene;
use holt_server::model::person::Role;

#[tokio::test]
async fn the_nearest_setting_wins_and_tells_where_it_comes_from() {
    let scene = scene::bare().await;
    let desk = &scene.keeper;
    // A keeper with one site needs to name none.
    assert_eq!(desk.done("holt animal list").await.lines().count(), 3);
    desk.done("holt profile set site mer").await;
    let file = std::fs::read_to_string(desk.path(".config/holt/profile.toml")).unwrap();
    assert_eq!(file, "site = \"MER\"\n");
    assert_eq!(desk.refused("holt animal list").await.0, 4);
    let shown = desk.done("holt profile --site qui").await;
    assert!(shown.contains("site\tQUI\t--site\n"), "{shown}");
    assert!(desk.done("holt profile").await.contains("site\tMER\tprofile\n"));
    let desk = scene.keeper.with("HOLT_SITE", "QUI");
    assert!(desk.done("holt profile show").await.contains("site\tQUI\tHOLT_SITE\n"));
    assert_eq!(desk.done("holt animal list").await.lines().count(), 3);
    desk.done("holt profile unset site").await;
    let desk = desk.with("HOLT_SITE", "");
    assert!(desk.done("holt profile").await.contains("site\t\t\n"));
    scene.house.close().await;
}

#[tokio::test]
async fn somebody_of_several_sites_is_asked_which_one() {
    let scene = scene::bare().await;
    let both = [(Role::Keeper, Some("QUI")), (Role::Keeper, Some("MER"))];
    scene.house.park("MER", "Europe/Lisbon").await;
    let desk = scene.house.desk_of(&scene.house.person("ada", &both).await, &both);
    let (exit, error) = desk.refused("holt due").await;
    assert_eq!(exit, 2);
    assert!(error.contains("(yours: MER, QUI)"), "{error}");
    desk.done("holt due -s MER").await;
    scene.house.close().await;
}

#[tokio::test]
async fn folders_of_the_xdg_specification_are_kept_to() {
    let scene = scene::bare().await;
    let config = scene.keeper.path("elsewhere");
    let desk =
        scene.keeper.with("XDG_CONFIG_HOME", config.to_str().unwrap()).with("XDG_STATE_HOME", "relative");
    desk.done("holt profile set server http://127.0.0.1:9").await;
    assert!(config.join("holt/profile.toml").exists());
    // What is not absolute is ignored.
    let shown = desk.done("holt profile").await;
    let state = desk.path(".local/state/holt");
    assert!(shown.contains(&format!("sign-ins\t{}", state.display())), "{shown}");
    scene.house.close().await;
}

#[tokio::test]
async fn a_profile_that_is_a_link_stays_one() {
    let scene = scene::bare().await;
    let desk = &scene.keeper;
    let (link, real) = (desk.path(".config/holt/profile.toml"), desk.path("dotfiles.toml"));
    std::fs::create_dir_all(link.parent().unwrap()).unwrap();
    std::fs::write(&real, "").unwrap();
    std::os::unix::fs::symlink(&real, &link).unwrap();
    desk.done("holt profile set site qui").await;
    assert!(link.is_symlink());
    assert_eq!(std::fs::read_to_string(real).unwrap(), "site = \"QUI\"\n");
    scene.house.close().await;
}

#[tokio::test]
async fn a_profile_that_is_not_understood_is_named() {
    let scene = scene::bare().await;
    let path = scene.keeper.path(".config/holt/profile.toml");
    std::fs::create_dir_all(path.parent().unwrap()).unwrap();
    std::fs::write(&path, "sight = \"QUI\"\n").unwrap();
    let (exit, error) = scene.keeper.refused("holt due").await;
    assert_eq!(exit, 2);
    let error = error.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(error.contains("profile.toml") && error.contains("sight"), "{error}");
    scene.house.close().await;
}
